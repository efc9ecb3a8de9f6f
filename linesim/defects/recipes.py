"""
What to draw of each kind: how many, how large, how strong; for two lines of production.

Sizes, strengths and numbers are plausible for the trade (common practice, no source). Every list
is meant to be replaced by what a plant knows of its own faults.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from linesim.defects.kinds import Kind, kind_named, need_parameters
from linesim.defects.ranges import Each, Range, fixed
from linesim.setup.errors import refuse
from linesim.targets.foil import METAL
from linesim.targets.ornament import GLAZE

ANY_TURN = Range(low=0.0, high=360.0)
"""All directions. [°]"""
ALONG_TRAVEL = Range(low=-0.3, high=0.3)
"""Directions of what a roller or a lip leaves. [°]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What to draw of one kind."""

    kind: str
    # what each parameter is drawn from; ``form`` is drawn by itself
    ranges: Mapping[str, Range | Each]
    # how many, all numbers between equally likely
    fewest: int = 0
    most: int = 2
    turn: Range = ANY_TURN
    own: Kind | None = None  # the kind itself, where it is not one of `kinds.KINDS`

    @property
    def which(self) -> Kind:
        """The kind itself."""
        return self.own or kind_named(self.kind)

    def __post_init__(self) -> None:
        """Refuse what cannot be drawn."""
        need_parameters(self.which, self.ranges)
        if not 0 <= self.fewest <= self.most:
            refuse(
                f"{self.kind}: read {self.fewest} to {self.most} faults, expected 0 or more, the "
                "lower number first"
            )


def ratios(low: float, high: float) -> Range:
    """Give a range whose equal ratios are equally likely."""
    return Range(low=low, high=high, even_ratios=True)


def steps(low: float, high: float) -> Range:
    """Give a range whose equal steps are equally likely."""
    return Range(low=low, high=high)


def sides(low: float, high: float) -> dict[str, Range]:
    """Draw width and height from one range."""
    return {"width_um": ratios(low, high), "height_um": ratios(low, high)}


def _recipes(
    ranges: Mapping[str, Mapping[str, Range | Each]], along: tuple[str, ...]
) -> tuple[Recipe, ...]:
    """Make recipes by kind; some lie along travel."""
    return tuple(
        Recipe(kind=kind, ranges=each, turn=ALONG_TRAVEL if kind in along else ANY_TURN)
        for kind, each in ranges.items()
    )


_FOIL: Mapping[str, Mapping[str, Range | Each]] = {
    "pinhole": {"diameter_um": ratios(60, 400), "change": ratios(0.8, 4.0)},
    "spot": {**sides(150, 900), "change": steps(-0.6, -0.2), "ragged": steps(0.03, 0.15)},
    "agglomerate": {
        "size_um": ratios(200, 900),
        "change": steps(-0.8, -0.5),
        "halo_change": steps(-0.4, -0.15),
    },
    "scratch": {
        "length_um": ratios(2000, 20_000),
        "width_um": ratios(25, 120),
        "change": ratios(0.6, 4.0),
        "bend": steps(-0.12, 0.12),
        "taper": steps(0.1, 0.45),
    },
    "streak": {
        "length_um": ratios(8000, 60_000),
        "width_um": ratios(200, 1500),
        "change": steps(0.08, 0.5),
        "fade": steps(0.1, 0.4),
    },
    "stain": {**sides(1500, 9000), "change": steps(-0.45, -0.15), "soft": steps(0.25, 0.7)},
    "missing print": {
        "width_um": ratios(400, 4000),
        "height_um": ratios(400, 6000),
        "reflectance": fixed(METAL),
        "grain_change": steps(0.03, 0.07),
        "grain_x_um": fixed(40.0),
        "grain_y_um": fixed(5000.0),
        "ragged": steps(0.04, 0.14),
    },
    "crease": {
        "length_um": ratios(5000, 40_000),
        "width_um": ratios(120, 500),
        "change": steps(0.2, 0.6),
        "bend": steps(-0.04, 0.04),
        "taper": steps(0.2, 0.5),
    },
    "hole": {
        **sides(300, 1500),
        "rim_um": steps(40, 90),
        "change": steps(-0.95, -0.8),
        "rim_change": ratios(1.0, 3.5),
        "ragged": steps(0.02, 0.08),
    },
    "texture fault": {**sides(2000, 9000), "ratio": steps(2.0, 3.5), "over_um": fixed(160.0)},
}
FOIL = _recipes(_FOIL, along=("streak", "missing print"))
"""Faults of a coated-foil line."""

_TILE: Mapping[str, Mapping[str, Range | Each]] = {
    "pinhole": {"diameter_um": ratios(250, 1200), "change": steps(-0.9, -0.5)},
    "spot": {**sides(500, 3000), "change": steps(-0.95, -0.7), "ragged": steps(0.04, 0.16)},
    "agglomerate": {
        "size_um": ratios(600, 3000),
        "change": steps(-0.6, -0.25),
        "halo_change": steps(-0.15, -0.05),
    },
    "scratch": {
        "length_um": ratios(6000, 60_000),
        "width_um": ratios(120, 500),
        "change": steps(-0.6, -0.25),
        "bend": steps(-0.12, 0.12),
        "taper": steps(0.1, 0.45),
    },
    "streak": {
        "length_um": ratios(15_000, 65_000),
        "width_um": ratios(600, 4000),
        "change": steps(-0.3, -0.08),
        "fade": steps(0.1, 0.4),
    },
    "stain": {
        **sides(4000, 20_000),
        "change": Each(ranges=(steps(-0.2, -0.08), steps(-0.3, -0.12), steps(-0.5, -0.2))),
        "soft": steps(0.25, 0.7),
    },
    "missing print": {
        **sides(3000, 15_000),
        "reflectance": fixed(*GLAZE),
        "grain_change": fixed(0.012),
        "grain_x_um": fixed(1500.0),
        "grain_y_um": fixed(1500.0),
        "ragged": steps(0.04, 0.16),
    },
    "colour shift": {
        **sides(6000, 25_000),
        "change": Each(ranges=(steps(-0.2, 0.2), steps(-0.12, 0.12), steps(-0.25, 0.25))),
        "soft": steps(0.1, 0.4),
    },
    "hole": {
        **sides(800, 3000),
        "rim_um": steps(120, 250),
        "change": steps(-0.9, -0.7),
        "rim_change": steps(0.1, 0.3),
        "ragged": steps(0.02, 0.08),
    },
    "texture fault": {**sides(6000, 20_000), "ratio": steps(0.0, 0.4), "over_um": fixed(900.0)},
}
TILE = _recipes(_TILE, along=("streak",))
"""Faults of a decorated-tile line."""
