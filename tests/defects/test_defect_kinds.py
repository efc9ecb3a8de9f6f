"""The table of kinds, the lists for two lines, and what is refused."""

import pytest

from linesim.defects.effects import Contrast, Material, Relative
from linesim.defects.kinds import KINDS, Kind, Placed
from linesim.defects.lines.cloth import CLOTH
from linesim.defects.lines.metal import METAL
from linesim.defects.lines.printed import PRINTED
from linesim.defects.lines.timber import TIMBER
from linesim.defects.pose import Pose
from linesim.defects.ranges import Range
from linesim.defects.recipes import FOIL, TILE
from linesim.setup.errors import InputError

ALL = (*FOIL, *TILE, *METAL, *CLOTH, *TIMBER, *PRINTED)
MIDDLE = Pose(x_mm=0.31, y_mm=2.043, turn_deg=25.0)


def test_kinds_have_names_and_numbers_of_their_own() -> None:
    """Class ids 0, 1, 2 …; a number once given stays."""
    assert [kind.class_id for kind in KINDS] == list(range(len(KINDS)))
    assert [kind.name for kind in KINDS] == [
        "pinhole",
        "spot",
        "agglomerate",
        "scratch",
        "streak",
        "stain",
        "missing print",
        "colour shift",
        "crease",
        "hole",
        "texture fault",
        "dent",
        "bump",
        "groove",
    ]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_kind_is_in_a_list_of_a_line(kind: Kind) -> None:
    """The ends of each default range make a fault."""
    recipes = [recipe for recipe in ALL if recipe.kind == kind.name]
    assert recipes
    for recipe in recipes:
        for end in ("low", "high"):
            values = {
                name: getattr(part, end)
                if isinstance(part, Range)
                else tuple(getattr(each, end) for each in part.ranges)
                for name, part in recipe.ranges.items()
            }
            fault = Placed(kind=kind.name, pose=MIDDLE, values=values).fault()
            assert fault.kind == kind.name
            assert fault.area_um2 > 0


@pytest.mark.parametrize(
    ("kind", "values", "match"),
    [
        ("pin hole", {}, 'did you mean "pinhole"'),
        ("pinhole", {"diameter_um": 9.0, "change": 0.1, "widht_um": 3.0}, "widht_um"),
        ("pinhole", {"diameter_um": 9.0}, "read no change"),
        ("pinhole", {"diameter_um": 9.0, "change": -1.2}, "expected one number or three"),
        ("pinhole", {"diameter_um": -9.0, "change": 0.1}, "read -9 um"),
    ],
)
def test_a_wrong_fault_is_refused(kind: str, values: dict[str, float], match: str) -> None:
    """With its name, what was read and what is expected."""
    with pytest.raises(InputError, match=match):
        Placed(kind=kind, pose=MIDDLE, values=values).fault()


@pytest.mark.parametrize(
    "make",
    [
        lambda: Relative(change=(0.1, 0.2)),
        lambda: Relative(change=(float("nan"),)),
        lambda: Material(reflectance=(-0.1,)),
        lambda: Material(reflectance=(0.1,), grain_x_um=0.0),
        lambda: Contrast(ratio=-1.0, over_um=5.0),
        lambda: Contrast(ratio=1.0, over_um=0.0),
    ],
)
def test_a_wrong_effect_is_refused(make: object) -> None:
    """In a sentence that says what was read and what is expected."""
    assert callable(make)
    with pytest.raises(InputError, match=r"read .*expected"):
        make()
