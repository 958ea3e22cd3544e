"""The documents say what the program does."""

import re
from datetime import date
from pathlib import Path

import pytest
import typer

from fixtures.small_photos import write_jpeg
from leafwane.cli import app
from leafwane.errors import LeafwaneError
from leafwane.results import MARK
from leafwane.tables import CURVE_COLUMNS, SCORE_COLUMNS
from leafwane.trial import read_trial
from leafwane.trialfile import BinPlan, LeafOverride, TrialPlan

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def readme():
    return (ROOT / "README.md").read_text(encoding="utf-8")


def names_after(readme, opening):
    """Return the names listed behind an opening, to the full stop."""
    listed = readme.split(opening, 1)[1].split(".", 1)[0]
    return tuple(" ".join(listed.split()).split(", "))


def test_commands_and_options(readme):
    group = typer.main.get_command(app)
    assert set(re.findall(r"`leafwane ([a-z]+)", readme)) == set(group.commands)
    commands = [group, *group.commands.values(), *group.commands["card"].commands.values()]
    options = {option for command in commands for parameter in command.params for option in parameter.opts}
    assert set(re.findall(r"`[^`]*?(--[a-z]+(?:-[a-z]+)*)[^`]*`", readme)) <= options | {"--help"}


def test_tables(readme):
    assert names_after(readme, "`scores.csv` has a row a photo:") == SCORE_COLUMNS
    assert names_after(readme, "`curve.csv` has a row a check-in:") == CURVE_COLUMNS


def test_exit_statuses(readme):
    told = readme.split("The exit status is", 1)[1].split("\n\n", 1)[0]
    statuses = {0, 130, *(kind.exit_code for kind in LeafwaneError.__subclasses__())}
    assert {int(number) for number in re.findall(r"\b\d+\b", told)} == statuses


def test_trial_file(readme, tmp_path):
    """Every key of `trial.toml` is in the example or named below it, and the example is read as it stands."""
    (example,) = re.findall(r"```toml\n(.*?)```", readme, flags=re.DOTALL)
    write_jpeg(tmp_path / "hazel" / "1.jpg")
    (tmp_path / "trial.toml").write_text(example, encoding="utf-8")
    plan = read_trial([tmp_path], today=date(2032, 6, 1)).plan
    assert plan.bins["hazel"].grams == 350
    for kind in (TrialPlan, BinPlan, LeafOverride):
        for key in kind.__dataclass_fields__:
            assert re.search(rf"(^|`|\[){key}\b", readme, flags=re.MULTILINE), key


def test_mark():
    assert f"`{MARK}`" in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_module_is_on_the_map():
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    house = ROOT / "src" / "leafwane"
    rooms = [path.name for path in house.glob("*.py") if not path.name.startswith("__")]
    rooms += [f"{path.parent.name}/" for path in house.glob("*/__init__.py")]
    assert [room for room in rooms if f"`{room}`" not in developers] == []
