"""
Faults of a printing line, one ink on paper.

Sizes and strengths are plausible for the trade (common practice, no source).
"""

from linesim.defects.ranges import fixed
from linesim.defects.recipes import ALONG_TRAVEL, Recipe, ratios, sides, steps
from linesim.targets.products.printed import PAPER

PRINTED = (
    Recipe(
        kind="missing print",
        ranges={
            **sides(250, 4000),
            "reflectance": fixed(PAPER),
            "grain_change": fixed(0.012),
            "grain_x_um": fixed(120.0),
            "grain_y_um": fixed(160.0),
            "ragged": steps(0.04, 0.16),
        },
    ),
    Recipe(  # a splash of ink
        kind="spot",
        ranges={**sides(150, 1500), "change": steps(-0.93, -0.8), "ragged": steps(0.03, 0.12)},
    ),
    Recipe(  # a streak of the doctor blade
        kind="streak",
        ranges={
            "length_um": ratios(8000, 60_000),
            "width_um": ratios(80, 600),
            "change": steps(-0.6, -0.15),
            "fade": steps(0.05, 0.3),
        },
        turn=ALONG_TRAVEL,
    ),
    Recipe(  # ink carried off where it should not be
        kind="stain",
        ranges={**sides(1500, 12_000), "change": steps(-0.25, -0.08), "soft": steps(0.25, 0.7)},
    ),
    Recipe(
        kind="scratch",
        ranges={
            "length_um": ratios(2000, 20_000),
            "width_um": ratios(30, 150),
            "change": ratios(0.4, 3.0),
            "taper": steps(0.1, 0.45),
        },
    ),
)
