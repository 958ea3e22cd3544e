"""Runs the command line inside the test's own process."""

from dataclasses import dataclass

import pytest

from leafwane import shell
from leafwane.cli import app


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    status: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        return self.err.splitlines()


def leafwane(capsys: pytest.CaptureFixture[str], *words: object) -> Outcome:
    """Run `leafwane WORDS` and return how it ended and what it said."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        shell.run(app, [str(word) for word in words])
    captured = capsys.readouterr()
    return Outcome(status=int(ended.value.code or 0), out=captured.out, err=captured.err)
