"""The weights kept for going on with training."""

import zipfile
from pathlib import Path

import numpy as np

from leafwane.scoring import METHOD

KEPT = Path(__file__).parents[2] / "fixtures" / "training" / f"{METHOD}.pt"


def test_no_part_of_the_network_is_dead():
    """A block whose last weights are all 0 adds nothing and can learn nothing: ReLU lets no gradient through."""
    with zipfile.ZipFile(KEPT) as archive:
        parts = [archive.read(name) for name in archive.namelist() if "/data/" in name]
    assert len(parts) > 100
    assert not [n for n, part in enumerate(parts) if not np.frombuffer(part, np.uint8).any()]
