"""Many photos: spread over processes, results in input order, and no photo stops another; a full disk stops all.

Processes are spawned, never forked, since OpenCV does not survive a fork; each keeps to one thread.
"""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import cv2
import psutil

from leafwane.errors import OutputError
from leafwane.flags import Flag
from leafwane.scores import Score, ScoreSettings
from leafwane.scoring import METHOD, score_photo
from leafwane.trial import DatedPhoto, Trial

FEW_PHOTOS = 8
"""Below this, starting processes takes longer than they save."""

WORKER_BYTES = 1_500_000_000
"""Memory that a process takes at most for a surface of 40 by 40 cm. A processor more, without it, makes all of them slow."""

MOST_WORKERS = 61
"""Windows waits for no more processes than this at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One photo to score, with all that a worker needs to know."""

    photo: DatedPhoto
    settings: ScoreSettings
    root: Path
    out: Path | None
    explain: bool


def score_trial(
    trial: Trial,
    *,
    out: Path | None = None,
    card_values: dict[str, tuple[float, float, float]] | None = None,
    explain: bool = False,
    jobs: int | None = None,
    on_done: Callable[[Score], None] = lambda _score: None,
) -> tuple[Score, ...]:
    """Score a trial's photos and return their scores in the trial's order.

    Args:
        trial: The photos and the plan.
        out: Folder for overlay pictures; None writes none.
        card_values: The card's own patch values; None for the nominal ones.
        explain: Whether to write a sheet of what each step saw.
        jobs: Number of processes; None for one a processor that there is memory for.
        on_done: Called with each score as it comes, in no particular order.

    Raises:
        OutputError: A picture cannot be written.
    """
    tasks = [
        Task(
            photo=photo,
            settings=_settings(trial, photo, card_values),
            root=trial.root,
            out=out,
            explain=explain,
        )
        for photo in trial.photos
    ]
    return score_tasks(tasks, jobs=jobs, on_done=on_done)


def score_tasks(
    tasks: Sequence[Task], *, jobs: int | None = None, on_done: Callable[[Score], None] = lambda _score: None
) -> tuple[Score, ...]:
    """Score photos and return their scores in the tasks' order, few in this process and many over several.

    Raises:
        OutputError: A picture cannot be written.
    """
    n_workers = min(jobs or _most_at_a_time(), len(tasks), MOST_WORKERS)
    if n_workers <= 1 or len(tasks) < FEW_PHOTOS:
        return tuple(_told(score_task(task), on_done) for task in tasks)
    scores = _score_over(dict(enumerate(tasks)), n_workers, on_done)
    return tuple(scores[place] for place in range(len(tasks)))


def score_task(task: Task) -> Score:
    """Score one photo; whatever goes wrong with it is said in the score.

    Raises:
        OutputError: A picture cannot be written, which is no fault of the photo.
    """
    try:
        return score_photo(
            task.photo, settings=task.settings, root=task.root, out=task.out, explain=task.explain
        )
    except OutputError:
        raise
    except Exception as error:  # noqa: BLE001 (a fault in one photo never stops the rest)
        return _not_scored(task, f"{type(error).__name__}: {error}")


def _settings(
    trial: Trial, photo: DatedPhoto, card_values: dict[str, tuple[float, float, float]] | None
) -> ScoreSettings:
    return ScoreSettings(
        polygon=trial.plan.bin_plan(photo.bin).polygon,
        card_values=card_values,
        chart_width_mm=trial.plan.chart_width_mm,
    )


def _told(score: Score, on_done: Callable[[Score], None]) -> Score:
    on_done(score)
    return score


def _score_over(
    tasks: Mapping[int, Task], n_workers: int, on_done: Callable[[Score], None]
) -> dict[int, Score]:
    """Score over processes; when one dies and takes others' photos along, halve until the culprit is alone."""
    scores = _spread(tasks, n_workers, on_done)
    left = [place for place in tasks if place not in scores]
    if len(tasks) == 1 and left:
        return {place: _told(_not_scored(tasks[place], "its process died"), on_done) for place in left}
    middle = len(left) // 2
    for part in filter(None, (left[:middle], left[middle:])):
        scores |= _score_over({place: tasks[place] for place in part}, n_workers, on_done)
    return scores


def _spread(tasks: Mapping[int, Task], n_workers: int, on_done: Callable[[Score], None]) -> dict[int, Score]:
    """Score over processes; photos that were not done when a process died are missing from the result."""
    scores: dict[int, Score] = {}
    places: dict[Future[Score], int] = {}
    with _workers(min(n_workers, len(tasks))) as pool, suppress(BrokenProcessPool):
        with _deaf_to_ctrl_c():
            for place, task in tasks.items():
                places[pool.submit(score_task, task)] = place
        for future in as_completed(places):
            scores[places[future]] = _told(future.result(), on_done)
    return scores


@contextmanager
def _workers(n_workers: int) -> Iterator[ProcessPoolExecutor]:
    """Hand out a pool that, when the block is left early, ends after the photos in hand."""
    pool = ProcessPoolExecutor(
        n_workers, mp_context=multiprocessing.get_context("spawn"), initializer=_prepare_worker
    )
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Ignore Ctrl-C while processes are started: they inherit it, and it is the parent's to answer."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _prepare_worker() -> None:
    cv2.setNumThreads(1)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # where it is not inherited


def _most_at_a_time() -> int:
    """Return how many processes there are processors and free memory for, 1 at least."""
    return max(1, min(_processors(), psutil.virtual_memory().available // WORKER_BYTES))


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _not_scored(task: Task, why: str) -> Score:
    return Score(
        photo=task.photo.path.relative_to(task.root).as_posix(),
        bin=task.photo.bin,
        date=task.photo.date,
        date_source=task.photo.source,
        flags=task.photo.flags | Flag.UNREADABLE,
        method=METHOD,
        message=f"{task.photo.path}: the photo could not be scored ({why}). Report this as a fault of leafwane",
    )
