"""What a fit finds: keys with their intervals, keys left alone, and how well captures are met."""

from collections.abc import Mapping
from dataclasses import dataclass

from linesim.figures.cautions import Caution
from linesim.metrics.interval import Interval
from linesim.metrics.scene.affine import Affine
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundKey:
    """One key that the captures tell."""

    name: str
    unit: str
    before: float  # what the setup had, in that unit
    interval: Interval  # what the captures tell, 95 % of it
    # shares of what tells it: the mean picture, the noise at each level, the spread of columns
    by_mean: float = 1.0
    by_noise: float = 0.0
    by_columns: float = 0.0

    @property
    def is_as_set_up(self) -> bool:
        """Whether the setup's own value lies in the interval."""
        return self.interval.low <= self.before <= self.interval.high

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        return {
            "unit": self.unit,
            "before": self.before,
            "value": self.interval.value,
            "low": self.interval.low,
            "high": self.interval.high,
            "as_set_up": self.is_as_set_up,
            "by_mean": self.by_mean,
            "by_noise": self.by_noise,
            "by_columns": self.by_columns,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftKey:
    """One key that stays as the setup has it."""

    name: str
    why: str
    partners: tuple[str, ...] = ()  # keys that move the captures alike
    correlation: float = 0.0  # with what those do; 0 where there are none

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        return {"why": self.why, "partners": list(self.partners), "correlation": self.correlation}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundCapture:
    """One capture before and after."""

    name: str
    lies: Affine  # where it lies in what the fitted setup would deliver [px]
    mirrored: str  # "no", "across", "along" or "both"
    lines: int
    columns: int
    # shape (lines, columns); captured less expected, in standard deviations of the noise that each
    # setup has
    left_before: FloatArray
    left_after: FloatArray
    neighbours: tuple[float, float]  # correlation of neighbours in what is left, along and across
    strays_px: float  # spread of the lines along, where they stray [px]

    @property
    def misfit(self) -> tuple[float, float]:
        """Spread of what is left over the noise, before and after; 1 is noise alone."""
        before, after = (float((each**2).mean() ** 0.5) for each in self.both)
        return before, after

    @property
    def both(self) -> tuple[FloatArray, FloatArray]:
        """Give what is left, before and after."""
        return self.left_before, self.left_after

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        steps = self.lies.steps
        return {
            "image": self.name,
            "mirrored": self.mirrored,
            "lines_fitted": self.lines,
            "columns_fitted": self.columns,
            "along_px": steps.along,
            "across_px": steps.across,
            "scale_along": 1 + steps.grow_along,
            "scale_across": 1 + steps.grow_across,
            "tilt": steps.tilt,
            "drift": steps.drift,
            "strays_px": self.strays_px,
            "misfit_before": self.misfit[0],
            "misfit_after": self.misfit[1],
            "neighbours_along": self.neighbours[0],
            "neighbours_across": self.neighbours[1],
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """A setup fitted to captures."""

    before: Setup
    after: Setup
    found: tuple[FoundKey, ...]
    left: tuple[LeftKey, ...]
    correlations: Mapping[tuple[str, str], float]  # of the errors of each pair of keys moved
    captures: tuple[FoundCapture, ...]
    settled: bool  # whether the fit came to rest
    cautions: tuple[Caution, ...]

    @property
    def changes(self) -> tuple[FoundKey, ...]:
        """Give the keys that the captures tell to be otherwise."""
        return tuple(each for each in self.found if not each.is_as_set_up)

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        return {
            "title": self.before.title,
            "keys": {each.name: each.as_dict() for each in self.found},
            "changed": [each.name for each in self.changes],
            "left": {each.name: each.as_dict() for each in self.left},
            "correlations": [
                {"keys": list(pair), "correlation": value}
                for pair, value in self.correlations.items()
            ],
            "captures": [each.as_dict() for each in self.captures],
            "settled": self.settled,
            "cautions": [each.as_dict() for each in self.cautions],
        }
