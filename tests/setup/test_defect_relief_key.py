"""The key of a fault with relief: what it needs, what it takes the place of, what is refused."""

from typing import Any

import pytest

from linesim.defects.relief_faults import LONG_KINDS, ROUND_KINDS, relief_fault
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup
from linesim.setup.product import LONG_RELIEF, ROUND_RELIEF, ReliefNeed

KEY = "requirement.defect_relief"
GROOVE = {"kind": "groove", "width": "80 um", "depth": "3 um"}
BASE = changed(sample_setup(), {"requirement.smallest_defect": None})


def needed(texts: object) -> ReliefNeed:
    """Read the fault that a setup asks for."""
    found = changed(BASE, {KEY: texts}).requirement.defect_relief
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        ("groove", '.defect_relief: read "groove", but this is no table of kind, width and depth'),
        ({**GROOVE, "kind": "hole"}, '.kind: read "hole", but this is not among the values'),
        ({"kind": "dent", "width": "80 um"}, ".depth: nothing was read, but this key is needed"),
        ({**GROOVE, "width": 80}, ".width: read 80, but a bare number has no unit"),
        ({**GROOVE, "depth": "0 um"}, ".depth: read"),
        ({**GROOVE, "height": "3 um"}, '.height: read "3 um", but there is no such key'),
        ({**GROOVE, "direction": "up"}, '.direction: read "up", but this is not among the values'),
        ({**GROOVE, "length": "50 um"}, '.length: read "50 um", but a groove of that width has'),
        ({**GROOVE, "depth": "90 um"}, "but its walls would hide its floor; expected at most"),
        ({**GROOVE, "kind": "dent", "length": "1 mm"}, "but a dent is round; leave it out"),
        ({**GROOVE, "kind": "wrinkle", "length": "150 um"}, "has ends of 160 um together"),
    ],
)
def test_a_fault_that_cannot_be_is_refused(texts: object, told: str) -> None:
    """One sentence with the key below, what was read, and what is expected."""
    with pytest.raises(InputError) as refusal:
        changed(BASE, {KEY: texts})
    assert told in " ".join(str(refusal.value).split()), str(refusal.value)


@pytest.mark.parametrize(
    ("beside", "told"),
    [
        ({"smallest_defect": "300 um"}, "requirement.smallest_defect: read "),
        ({"defect_length": "3 mm"}, "requirement.defect_length: read "),
        ({"defect_shape": "scratch-along"}, 'requirement.defect_shape: read "scratch-along"'),
    ],
)
def test_it_takes_the_place_of_a_flat_defect(beside: dict[str, Any], told: str) -> None:
    """What says the same of a flat defect is refused beside it, in one sentence."""
    changes = {KEY: GROOVE, **{f"requirement.{key}": value for key, value in beside.items()}}
    with pytest.raises(InputError) as refusal:
        changed(BASE, changes)
    assert len(refusal.value.faults) == 1
    assert refusal.value.faults[0].startswith(told)
    assert "leave one of the two out" in refusal.value.faults[0]


def test_the_level_of_a_mirror_is_not_given_twice() -> None:
    """What a face that mirrors sends back follows from its gloss; a level beside it is refused."""
    gloss = {"target.gloss": 0.5, "target.rms_slope": 0.05}
    given = {KEY: GROOVE, "requirement.product_reflectance": 0.3}
    changed(BASE, given)
    with pytest.raises(InputError, match=r"product_reflectance: read 0\.3, but what a face"):
        changed(BASE, {**given, **gloss})


def test_lengths_and_directions_may_be_left_out() -> None:
    """A groove is ten times as long as wide and lies along travel; sides are across and along."""
    found = needed(GROOVE)
    assert found.length_um == pytest.approx(800)
    assert found.direction == "along"
    assert found.sides_um == pytest.approx((80, 800))
    across = needed({**GROOVE, "direction": "across", "length": "2 mm"})
    assert across.sides_um == pytest.approx((2000, 80))
    assert needed({**GROOVE, "kind": "dent"}).sides_um == pytest.approx((80, 80))


def test_kinds_are_those_that_have_a_formula() -> None:
    """What the setup file knows is what can be drawn, raised where its heights are positive."""
    assert ROUND_RELIEF == ROUND_KINDS
    assert tuple(LONG_RELIEF) == LONG_KINDS
    for kind in (*ROUND_KINDS, *LONG_KINDS):
        # an edge of a wrinkle's ridge is low, its middle ridge is not
        height = float(relief_fault(kind, 60.0, 3.0).height_um(0.0, 0.0))  # type: ignore[arg-type]
        assert needed({**GROOVE, "kind": kind}).raised == (height > 0)
