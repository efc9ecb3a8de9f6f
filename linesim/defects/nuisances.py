"""
What lies on good product and is no fault: dust, fibres, joints, wrinkles.

They are drawn as kinds of fault are, and have no class. Sizes, strengths and numbers are plausible
for the trade (common practice, no source).
"""

from linesim.defects.kinds import Kind
from linesim.defects.line_faults import Crease, Scratch
from linesim.defects.ranges import Range
from linesim.defects.recipes import Recipe, ratios, steps
from linesim.defects.round_faults import Spot

_NO_CLASS = -1
_ACROSS = Range(low=89.5, high=90.5)
_NEAR_TRAVEL = Range(low=-12.0, high=12.0)
_WIDER_UM = 3e6  # than any web

DUST = Kind(
    name="dust", class_id=_NO_CLASS, sentence="A loose grain.", make=Spot, identity="nuisance"
)
FIBRE = Kind(
    name="fibre", class_id=_NO_CLASS, sentence="A loose fibre.", make=Scratch, identity="nuisance"
)
JOINT = Kind(
    name="joint",
    class_id=_NO_CLASS,
    sentence="Where one roll or sheet is joined to the next: a strip across all of it.",
    make=Scratch,
    identity="nuisance",
)
WRINKLE = Kind(
    name="wrinkle",
    class_id=_NO_CLASS,
    sentence="A shallow fold that runs with the web and will pull out.",
    make=Crease,
    identity="nuisance",
)


def _line(scale: float) -> dict[str, Recipe]:
    """Give the list of a line whose product is so much coarser than foil."""
    um = scale
    return {
        "dust": Recipe(
            kind="dust",
            own=DUST,
            ranges={
                "width_um": ratios(50 * um, 250 * um),
                "height_um": ratios(50 * um, 250 * um),
                "change": steps(-0.45, 0.25),
                "ragged": steps(0.05, 0.2),
            },
        ),
        "fibre": Recipe(
            kind="fibre",
            own=FIBRE,
            ranges={
                "length_um": ratios(800 * um, 5000 * um),
                "width_um": ratios(12 * um, 35 * um),
                "change": steps(-0.35, 0.25),
                "bend": steps(-0.3, 0.3),
                "taper": steps(0.0, 0.1),
            },
        ),
        "joint": Recipe(
            kind="joint",
            own=JOINT,
            ranges={
                "length_um": Range(low=_WIDER_UM, high=_WIDER_UM),
                "width_um": ratios(1000 * um, 5000 * um),
                "change": steps(-0.3, -0.08),
                "taper": Range(low=0.0, high=0.0),
            },
            turn=_ACROSS,
        ),
        "wrinkle": Recipe(
            kind="wrinkle",
            own=WRINKLE,
            ranges={
                "length_um": ratios(8000 * um, 60_000 * um),
                "width_um": ratios(600 * um, 3000 * um),
                "change": steps(0.02, 0.09),
                "bend": steps(-0.04, 0.04),
                "taper": steps(0.3, 0.5),
            },
            turn=_NEAR_TRAVEL,
        ),
    }


NUISANCES = {"foil": _line(1.0), "tile": _line(3.0)}
"""By the line of production, by name."""
