"""The weights that are shipped, and those kept for going on with training."""

import zipfile
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import pytest

KEPT = Path(__file__).parents[2] / "fixtures" / "training"
_COUNT = 8  # bytes of how many batches a normalisation has seen: 0 where it never learnt here


def shipped() -> cv2.dnn.Net:
    """Return the network that leafwane carries."""
    weights = resources.files("leafwane.surface").joinpath("leafnet.onnx").read_bytes()
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8))


@pytest.mark.parametrize("name", ["net-16", "run-75", "run-80", "run-81"])
def test_no_part_of_the_network_is_dead(name):
    """A block whose last weights are all 0 adds nothing and can learn nothing: ReLU lets no gradient through."""
    with zipfile.ZipFile(KEPT / f"{name}.pt") as archive:
        parts = [archive.read(name) for name in archive.namelist() if "/data/" in name]
    weights = [part for part in parts if len(part) != _COUNT]
    assert len(weights) > 100
    assert not [n for n, part in enumerate(weights) if not np.frombuffer(part, np.uint8).any()]


def test_the_shipped_weights_are_small_and_their_licence_lies_beside_them():
    """The front of one of the two networks is EfficientNet-Lite0's, whose licence asks to be handed on with it."""
    surface = resources.files("leafwane.surface")
    assert len(surface.joinpath("leafnet.onnx").read_bytes()) <= 3_000_000
    assert "Apache License" in surface.joinpath("APACHE-2.0.txt").read_text(encoding="utf-8")
    assert "APACHE-2.0.txt" in surface.joinpath("MODEL.md").read_text(encoding="utf-8")


def test_nothing_that_is_shipped_is_laid_out_anew_for_a_cap():
    """OpenCV 5.0 runs a convolution with its ReLU in one, but not with a ReLU6, which costs a tenth of the time."""
    types = shipped().getLayerTypes()
    assert "Conv2" in types
    assert "Clip" not in types


def test_what_is_said_together_is_sharpened_once():
    """At full size convolutions cost the most; the networks are joined at half of it."""
    assert len([name for name in shipped().getLayerNames() if name.startswith("/fine/")]) == 1
