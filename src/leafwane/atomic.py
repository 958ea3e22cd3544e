"""Files are replaced, never overwritten: a reader sees the old content or the new, also when writing is cut short."""

import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from leafwane.errors import OutputError

OTHER_FOLDER = "Name another folder after -o"
OTHER_FILE = "Name another file or folder for it"

_READ_BYTES = 1_000_000
"""What tells a file's kind stands within so many bytes from its beginning."""


@contextmanager
def replacing(path: Path, *, hint: str = OTHER_FOLDER) -> Iterator[Path]:
    """Hand out the name of an empty temporary file beside `path`, which takes its place when the block ends well.

    The content is forced to the disk first. The mode of an existing file is kept. When the block raises, on Ctrl-C
    too, the temporary file is removed and what was there stays.

    Args:
        path: The file.
        hint: What to do if it cannot be written.

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
            hint=hint,
        ) from error
    finally:
        if temporary.is_file():
            temporary.unlink()


def write_bytes(path: Path, content: bytes, *, hint: str = OTHER_FOLDER) -> None:
    """Replace a file's content; `hint` says what to do if it cannot be written.

    Raises:
        OutputError: The place cannot be written to.
    """
    with replacing(path, hint=hint) as temporary:
        temporary.write_bytes(content)


def write_text(path: Path, text: str, *, hint: str = OTHER_FOLDER) -> None:
    """Replace a file's content with UTF-8 text; names of files that are no valid text are written with escapes.

    Raises:
        OutputError: The place cannot be written to.
    """
    write_bytes(path, text.encode("utf-8", "backslashreplace"), hint=hint)


def make_folder(path: Path) -> None:
    """Make a folder of results, and those above it, if it is not there.

    Raises:
        OutputError: The folder cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder cannot be made ({error.strerror})", path=path, hint=OTHER_FOLDER
        ) from error


def refuse_to_replace(path: Path, *, unless: re.Pattern[bytes], kind: str) -> None:
    """Refuse to write where a file of another kind lies, which may be somebody's own.

    Args:
        path: The file to be written.
        unless: Is found in files that may be replaced.
        kind: What such files are, as people call them, with its article.

    Raises:
        OutputError: There is a file, and it is of another kind or cannot be read.
    """
    if not path.is_file():
        return
    try:
        with path.open("rb") as file:
            ours = unless.search(file.read(_READ_BYTES)) is not None
    except OSError:
        ours = False
    if not ours:
        raise OutputError(f"the file that is there already is not {kind}", path=path, hint=OTHER_FILE)


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
