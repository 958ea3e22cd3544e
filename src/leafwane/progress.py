"""What people see while they wait: one console on stderr, and a bar where that is a terminal."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

people = Console(stderr=True, highlight=False, markup=False, emoji=False)
"""Stdout is for data; everything that people read goes here. File names are printed as they are."""


@contextmanager
def progress_bar(what: str, *, total: int) -> Iterator[Callable[[object], None]]:
    """Show a bar and hand out the function that moves it on by one, whatever it is called with.

    There is no bar when stderr is no terminal, and none when people asked for quiet.
    """
    if people.quiet or not people.is_terminal:
        yield lambda _done: None
        return
    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    with Progress(*columns, console=people, transient=True) as bar:
        task = bar.add_task(what, total=total)
        yield lambda _done: bar.advance(task)
