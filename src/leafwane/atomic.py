"""Files are replaced, never overwritten: a reader sees the old content or the new, also when writing is cut short."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from leafwane.errors import OutputError


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Hand out the name of an empty temporary file beside `path`, which takes its place when the block ends well.

    The content is forced to the disk first. The mode of an existing file is kept. When the block raises, on Ctrl-C
    too, the temporary file is removed and what was there stays.

    Raises:
        OutputError: The place cannot be written to.
    """
    target = Path(os.path.realpath(path))  # a link stays a link
    temporary = target.with_name(f".{secrets.token_hex(6)}{target.suffix}")
    try:
        _make(temporary, target)
        yield temporary
        _to_disk(temporary)
        temporary.replace(target)
    except OSError as error:
        raise OutputError(
            f"the result cannot be written ({error.strerror or error})",
            path=path,
            hint="Name another folder after -o",
        ) from error
    finally:
        if temporary.is_file():
            temporary.unlink()


def write_bytes(path: Path, content: bytes) -> None:
    """Replace a file's content.

    Raises:
        OutputError: The place cannot be written to.
    """
    with replacing(path) as temporary:
        temporary.write_bytes(content)


def write_text(path: Path, text: str) -> None:
    """Replace a file's content with UTF-8 text; names of files that are no valid text are written with escapes.

    Raises:
        OutputError: The place cannot be written to.
    """
    write_bytes(path, text.encode("utf-8", "backslashreplace"))


def _make(temporary: Path, target: Path) -> None:
    """Create the temporary file with the mode of the one it will replace, else with the usual one for new files."""
    os.close(os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    if target.exists():
        temporary.chmod(target.stat().st_mode & 0o7777)


def _to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
