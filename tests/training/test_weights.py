"""The weights kept for going on with training."""

import zipfile
from pathlib import Path

import numpy as np
import pytest

from leafwane.scoring import METHOD

KEPT = Path(__file__).parents[2] / "fixtures" / "training"
_COUNT = 8  # bytes of how many batches a normalisation has seen: 0 where it never learnt here


@pytest.mark.parametrize("name", [METHOD, "run-75"])
def test_no_part_of_the_network_is_dead(name):
    """A block whose last weights are all 0 adds nothing and can learn nothing: ReLU lets no gradient through."""
    with zipfile.ZipFile(KEPT / f"{name}.pt") as archive:
        parts = [archive.read(name) for name in archive.namelist() if "/data/" in name]
    weights = [part for part in parts if len(part) != _COUNT]
    assert len(weights) > 100
    assert not [n for n, part in enumerate(weights) if not np.frombuffer(part, np.uint8).any()]
