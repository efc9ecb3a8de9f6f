"""Sets of products: scenes of each, no two alike, with faults of their own line."""

import numpy as np
import pytest

from linesim.dataset.item import item
from linesim.dataset.plan.fault_texts import LINES
from linesim.dataset.plan.plan_file import plan_from
from linesim.dataset.scenes import DRAWN

PRODUCTS = ("sheet", "cloth", "timber", "print")


@pytest.mark.parametrize("kind", PRODUCTS)
def test_a_product_has_scenes_and_faults_of_its_own(kind: str) -> None:
    """Two scenes of one product differ in most samples; its faults are those of its line."""
    assert kind in DRAWN
    plan = plan_from(
        {
            "count": 2,
            "images": {"lines": 48, "good_share": 0.0},
            "scenes": {"kind": kind, "images_each": 1},
            "vary": {"camera": {"pixels": 48}},
            "faults": {"count": 1},
        }
    )
    found = [item(plan, k) for k in range(2)]
    known = {each.kind for each in LINES[plan.scenes.line]}
    for made in found:
        kinds = {each.placed.kind for each in made.instances}
        assert kinds <= known
        assert len(kinds | {each.kind for each in made.drawn.left_out}) == len(known)
    one, two = (plan.scene(k).data for k in range(2))
    assert one.shape == two.shape
    # solid ink is as black in both: of two random thirds some 0.1 meet
    assert np.mean(one == two) < 0.2
