"""
Faults of a line of rolled metal sheet.

Sizes and strengths are plausible for the trade (common practice, no source).
"""

from linesim.defects.recipes import Recipe, ratios, sides, steps

METAL = (
    Recipe(kind="dent", ranges={"width_um": ratios(800, 4000), "depth_um": ratios(6, 40)}),
    Recipe(kind="bump", ranges={"width_um": ratios(300, 1500), "depth_um": ratios(3, 15)}),
    Recipe(
        kind="groove",
        ranges={
            "length_um": ratios(3000, 20_000),
            "width_um": ratios(60, 200),
            "depth_um": ratios(1.5, 6.0),
        },
    ),
    Recipe(
        kind="stain",
        ranges={**sides(1500, 9000), "change": steps(-0.35, -0.1), "soft": steps(0.25, 0.7)},
    ),
    Recipe(
        kind="spot",
        ranges={**sides(200, 1200), "change": steps(-0.7, -0.3), "ragged": steps(0.03, 0.15)},
    ),
)
