"""
Faults of a weaving line.

Sizes and strengths are plausible for the trade (common practice, no source).
"""

from linesim.defects.ranges import Range
from linesim.defects.recipes import ALONG_TRAVEL, Recipe, ratios, sides, steps

_ACROSS = Range(low=89.7, high=90.3)

CLOTH = (
    Recipe(  # a missing pick, or a thick one
        kind="scratch",
        ranges={
            "length_um": ratios(5000, 60_000),
            "width_um": ratios(250, 500),
            "change": steps(-0.4, 0.25),
            "taper": steps(0.0, 0.05),
        },
        turn=_ACROSS,
    ),
    Recipe(  # a broken end
        kind="streak",
        ranges={
            "length_um": ratios(8000, 60_000),
            "width_um": ratios(250, 800),
            "change": steps(-0.35, -0.1),
            "fade": steps(0.02, 0.2),
        },
        turn=ALONG_TRAVEL,
    ),
    Recipe(  # a knot or a slub
        kind="spot",
        ranges={**sides(300, 1500), "change": steps(0.15, 0.45), "ragged": steps(0.04, 0.15)},
    ),
    Recipe(  # oil
        kind="stain",
        ranges={**sides(1500, 12_000), "change": steps(-0.45, -0.12), "soft": steps(0.3, 0.7)},
    ),
    Recipe(
        kind="hole",
        ranges={
            **sides(500, 3000),
            "rim_um": steps(80, 200),
            "change": steps(-0.9, -0.7),
            "rim_change": steps(0.05, 0.3),
            "ragged": steps(0.05, 0.15),
        },
    ),
)
