"""A target of which only the patches with faults are held: the same as the whole, painted."""

import numpy as np
from numpy.testing import assert_array_equal

from linesim.dataset.labels.masks import HeldFault
from linesim.dataset.piece.patched import Patched, change_between
from linesim.defects.defective import DefectiveReference, grid_under
from linesim.defects.draw import Area, draw_faults
from linesim.defects.recipes import FOIL
from linesim.forward.reference import ArrayReference
from linesim.targets.foil import foil


def test_patches_are_what_painting_all_of_it_gives() -> None:
    """Kinds that overlap, one of which looks at the product around it: bit for bit, any rows."""
    drawn = foil(pixel_size_um=25.0, width_mm=12.0, height_mm=14.0, seed=3, faults=False)
    base = ArrayReference(data=drawn.rows(0, drawn.shape[0]), pixel_size_um=25.0)
    base.data.setflags(write=False)
    area = Area(left_mm=-6.0, top_mm=0.0, right_mm=6.0, bottom_mm=14.0)
    placed = draw_faults(np.random.default_rng(4), FOIL, area, edge_rule="cut")
    faults = tuple(each.fault() for each in placed)
    whole = DefectiveReference(base=base, faults=faults).rows(0, base.shape[0])
    held = [HeldFault(fault=each, grid=grid_under(base)) for each in faults]
    some = Patched(base=base).with_faults(held)
    assert len(some.patches) > 5
    assert_array_equal(some.rows(0, base.shape[0]), whole)
    assert_array_equal(some.rows(200, 263), whole[200:263])
    bounds = held[0].bounds
    place = slice(bounds.top, bounds.bottom), slice(bounds.left, bounds.right)
    found = change_between(Patched(base=base), some, bounds)
    assert_array_equal(found.part, whole[place] - base.data[place])
