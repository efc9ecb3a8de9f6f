"""Polygons against pycocotools' own filling of them."""

import numpy as np
import pytest
from pycocotools import mask as coco
from scipy.ndimage import binary_fill_holes

from linesim.dataset.labels.outlines import polygons

SHAPE = (40, 50)
pytestmark = pytest.mark.filterwarnings("ignore:__array__ implementation:DeprecationWarning")
"""pycocotools 2.0.11 with numpy 2."""


def filled(rings: list[list[int]]) -> np.ndarray:
    """Have pycocotools fill polygons."""
    parts = coco.frPyObjects([[float(each) for each in ring] for ring in rings], *SHAPE)
    return np.asarray(coco.decode(coco.merge(parts)), dtype=bool)


def test_a_rectangle_has_four_corners() -> None:
    """
    Rows 4 to 8 and columns 10 to 16: corners of samples, 35 samples in all.

    Expected corners: derived; area as pycocotools counts it.
    """
    rings = polygons(np.ones((5, 7), dtype=bool), (4, 10))
    assert rings == [[10, 4, 17, 4, 17, 9, 10, 9]]
    assert filled(rings).sum() == 35


def test_any_mask_without_holes_comes_back() -> None:
    """Filled again, outlines give the mask, sample by sample, where parts touch by corners too."""
    random = np.random.default_rng(8)
    for _ in range(60):
        part = binary_fill_holes(random.random((16, 20)) < random.uniform(0.1, 0.9))
        rings = polygons(part, (11, 17))
        assert rings is not None
        whole = np.zeros(SHAPE, dtype=bool)
        whole[11:27, 17:37] = part
        assert (filled(rings) == whole).all()


def test_a_hole_is_told() -> None:
    """A ring of samples has no polygon of this format: run lengths stand in."""
    ring = np.ones((5, 5), dtype=bool)
    ring[2, 2] = False
    assert polygons(ring, (0, 0)) is None
