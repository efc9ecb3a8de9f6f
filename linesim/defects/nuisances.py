"""
What lies on good product and is no fault: dust, fibres, joints, wrinkles.

They are drawn as kinds of fault are, and have no class. Sizes, strengths and numbers are plausible
for the trade (common practice, no source).
"""

from linesim.defects.kinds import Kind
from linesim.defects.line_faults import Crease, Scratch
from linesim.defects.ranges import Each, Range, fixed
from linesim.defects.recipes import ANY_TURN, Recipe, ratios, steps
from linesim.defects.round_faults import Spot

_TURNS = {"joint": Range(low=89.5, high=90.5), "wrinkle": Range(low=-12.0, high=12.0)}
_WIDER_UM = 3e6  # than any web

_KINDS = {
    name: Kind(name=name, class_id=-1, sentence=sentence, make=make, identity="nuisance")
    for name, make, sentence in (
        ("dust", Spot, "A loose grain."),
        ("fibre", Scratch, "A loose fibre."),
        (
            "joint",
            Scratch,
            "Where one roll or sheet is joined to the next: a strip across all of it.",
        ),
        ("wrinkle", Crease, "A shallow fold that runs with the web and will pull out."),
    )
}


def _line(um: float) -> dict[str, Recipe]:
    """Give the list of a line whose product is so much coarser than foil."""
    ranges: dict[str, dict[str, Range | Each]] = {
        "dust": {
            "width_um": ratios(50 * um, 250 * um),
            "height_um": ratios(50 * um, 250 * um),
            "change": steps(-0.45, 0.25),
            "ragged": steps(0.05, 0.2),
        },
        "fibre": {
            "length_um": ratios(800 * um, 5000 * um),
            "width_um": ratios(12 * um, 35 * um),
            "change": steps(-0.35, 0.25),
            "bend": steps(-0.3, 0.3),
            "taper": steps(0.0, 0.1),
        },
        "joint": {
            "length_um": fixed(_WIDER_UM),
            "width_um": ratios(1000 * um, 5000 * um),
            "change": steps(-0.3, -0.08),
            "taper": fixed(0.0),
        },
        "wrinkle": {
            "length_um": ratios(8000 * um, 60_000 * um),
            "width_um": ratios(600 * um, 3000 * um),
            "change": steps(0.02, 0.09),
            "bend": steps(-0.04, 0.04),
            "taper": steps(0.3, 0.5),
        },
    }
    return {
        name: Recipe(kind=name, own=_KINDS[name], ranges=each, turn=_TURNS.get(name, ANY_TURN))
        for name, each in ranges.items()
    }


NUISANCES = {"foil": _line(1.0), "tile": _line(3.0)}
"""By the line of production, by name."""
