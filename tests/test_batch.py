"""Many photos: in order, over processes, and none stops another."""

import os
import pickle
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest

from leafwane import batch
from leafwane.batch import FEW_PHOTOS, WORKER_BYTES, Task, score_tasks, score_trial
from leafwane.errors import LeafwaneError, OutputError
from leafwane.flags import Flag
from leafwane.scores import ScoreSettings
from leafwane.trial import read_trial

DEMO = Path(__file__).parents[1] / "demo_images"


class Deadly:
    """Ends the process that it is sent to."""

    def __reduce__(self) -> tuple[object, tuple[int]]:  # noqa: D105 (what pickle sends in its place)
        return os._exit, (1,)


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """Return a trial of so many photos that processes are started; the leaf shrinks from photo to photo."""
    root = tmp_path_factory.mktemp("trial")
    (root / "hazel").mkdir()
    for photo in sorted((DEMO / "kettle").glob("*.jpg")):
        shutil.copy(photo, root / "hazel")
    return read_trial([root], today=date(2026, 2, 1))


@pytest.fixture
def tasks(trial):
    return [
        Task(photo=photo, settings=ScoreSettings(), root=trial.root, out=None, explain=False)
        for photo in trial.photos
    ]


def test_scores_come_in_order_and_processes_change_no_figure(trial):
    done = []
    over_two = score_trial(trial, jobs=2, on_done=done.append)
    assert [score.photo for score in over_two] == [f"hazel/{photo.path.name}" for photo in trial.photos]
    leaf = [score.leaf_percent for score in over_two]
    assert leaf == sorted(leaf, reverse=True)
    assert sorted(done, key=lambda score: score.photo) == list(over_two)
    assert score_trial(trial, jobs=1) == over_two


def test_a_process_that_dies_costs_only_its_own_photo(tasks):
    tasks[-1] = replace(tasks[-1], settings=Deadly())
    done = []
    scores = score_tasks(tasks, jobs=2, on_done=done.append)
    assert [score.scored for score in scores] == [score is not scores[-1] for score in scores]
    assert "its process died" in scores[-1].message
    assert scores[-1].flags == Flag.UNREADABLE
    assert len(done) == len(tasks)


@pytest.mark.parametrize("n_photos", [2, FEW_PHOTOS])
def test_an_unexpected_fault_costs_only_its_own_photo(tasks, n_photos):
    tasks[1] = replace(tasks[1], settings=None)
    scores = score_tasks(tasks[:n_photos], jobs=2)
    assert [score.scored for score in scores] == [place != 1 for place in range(n_photos)]
    assert "AttributeError" in scores[1].message
    assert tasks[1].photo.path.name in scores[1].message


@pytest.mark.parametrize("n_photos", [2, FEW_PHOTOS])
def test_a_picture_that_cannot_be_written_stops_all(tasks, tmp_path, n_photos):
    (tmp_path / "overlays" / "hazel").mkdir(parents=True)
    (tmp_path / "overlays" / "hazel" / tasks[1].photo.path.name).mkdir()  # a folder where a file is needed
    tasks = [replace(task, out=tmp_path) for task in tasks[:n_photos]]
    with pytest.raises(OutputError, match="the result cannot be written") as failed:
        score_tasks(tasks, jobs=2)
    assert failed.value.hint


@pytest.mark.parametrize(("room_for", "processes"), [(0.5, None), (1.9, None), (2.5, 2)])
def test_no_more_processes_are_started_than_there_is_memory_for(tasks, monkeypatch, room_for, processes):
    """One alone is this process."""
    started = []
    monkeypatch.setattr(
        psutil, "virtual_memory", lambda: SimpleNamespace(available=int(room_for * WORKER_BYTES))
    )
    monkeypatch.setattr(batch, "_processors", lambda: 16)
    monkeypatch.setattr(
        batch,
        "_score_over",
        lambda tasks, n, _: started.append(n) or dict.fromkeys(tasks),
    )
    faulty = [replace(task, settings=None) for task in tasks]
    assert len(score_tasks(faulty)) == len(tasks)
    assert started == ([] if processes is None else [processes])


def test_no_photo_is_no_work():
    assert score_tasks([]) == ()


@pytest.mark.parametrize("kind", [LeafwaneError, *LeafwaneError.__subclasses__()])
def test_errors_come_back_from_another_process_as_they_were(kind):
    """One that could not be unpickled would leave the run waiting for ever."""
    error = kind("the card is torn", path=Path("bin") / "2031-10-04.jpg", hint="print another")
    back = pickle.loads(pickle.dumps(error))  # noqa: S301 (its own bytes)
    assert (type(back), str(back), vars(back)) == (kind, str(error), vars(error))
