"""
Faults of a planing line for softwood boards.

Sizes and strengths are plausible for the trade (common practice, no source).
"""

from linesim.defects.ranges import Each, Range, fixed
from linesim.defects.recipes import Recipe, ratios, sides, steps

_WITH_THE_GRAIN = Range(low=-8.0, high=8.0)

TIMBER = (
    Recipe(  # a dead knot
        kind="spot",
        ranges={
            **sides(3000, 20_000),
            "change": Each(ranges=(steps(-0.7, -0.4), steps(-0.8, -0.5), steps(-0.85, -0.55))),
            "ragged": steps(0.02, 0.08),
        },
    ),
    Recipe(  # a crack
        kind="scratch",
        ranges={
            "length_um": ratios(10_000, 90_000),
            "width_um": ratios(150, 900),
            "change": steps(-0.95, -0.7),
            "bend": steps(-0.03, 0.03),
            "taper": steps(0.2, 0.5),
        },
        turn=_WITH_THE_GRAIN,
    ),
    Recipe(  # blue stain
        kind="stain",
        ranges={
            **sides(8000, 40_000),
            "change": Each(ranges=(steps(-0.45, -0.2), steps(-0.35, -0.12), steps(-0.2, -0.05))),
            "soft": steps(0.3, 0.7),
        },
    ),
    Recipe(  # a resin pocket
        kind="agglomerate",
        ranges={
            "size_um": ratios(1500, 8000),
            "change": steps(-0.5, -0.25),
            "halo_change": steps(-0.15, -0.05),
        },
    ),
    Recipe(  # a worm hole
        kind="pinhole", ranges={"diameter_um": ratios(600, 3000), "change": fixed(-0.93)}
    ),
)
