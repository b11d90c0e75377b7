"""How surely box labels are read: 12 here; 500 by ``python -m benchmarks``."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from kitting.labels import kinds, press
from kitting.labels.box_label import BoxLabel
from kitting.labels.readback import rasters
from tests.kitting.labels.drawn import blurred, picture_of, random_box, rightly_read
from tests.kitting.labels.samples import BOX_100X150, HEAD_203, HEAD_300

COUNT = 12


@pytest.fixture(scope="module")
def labels() -> list[BoxLabel]:
    rng = Random(4)
    return [random_box(rng) for _ in range(COUNT)]


# The blur of a scanner that is out of focus, in dots of the print, with noise of 5 of
# 255 grey levels: the job wants 99 % of symbols at 0.9 dots.
@pytest.mark.parametrize("head", [HEAD_203, HEAD_300], ids=["203.2", "300"])
def test_random_box_labels_are_read_sharp_and_blurred(
    labels: list[BoxLabel], head: object
) -> None:
    on = BOX_100X150.at(head)  # type: ignore[arg-type]
    pdf = press.draw(kinds.BOX, labels, on).pdf
    sharp = soft = 0
    for nth, (label, raster) in enumerate(zip(labels, rasters(pdf, on), strict=True)):
        sharp += rightly_read(kinds.BOX, label, picture_of(raster))
        grey = blurred(raster, 0.9, noise=5, seed=nth)
        soft += rightly_read(kinds.BOX, label, grey)
    assert sharp == 2 * COUNT
    assert soft >= 0.99 * 2 * COUNT


def test_a_blur_that_is_far_too_strong_is_not_read(
    labels: list[BoxLabel],
) -> None:
    """The control: the blur does blur."""
    pdf = press.draw(kinds.BOX, labels[:3], BOX_100X150).pdf
    for label, raster in zip(labels, rasters(pdf, BOX_100X150), strict=False):
        grey = blurred(raster, 4, noise=5, seed=0)
        assert np.ptp(grey) > 100
        assert rightly_read(kinds.BOX, label, grey) == 0
