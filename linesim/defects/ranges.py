"""What a number is drawn from."""

from dataclasses import dataclass
from math import exp, isfinite, log

import numpy as np

from linesim.setup.errors import refuse


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """An even distribution of a number, or of its logarithm."""

    # ends, in the number's own unit
    low: float
    high: float
    # Draw so that equal ratios are equally likely (log-uniform), not equal steps (uniform). Both
    # ends must then have one sign.
    even_ratios: bool = False

    def __post_init__(self) -> None:
        """Refuse what nothing can be drawn from."""
        if not (isfinite(self.low) and isfinite(self.high) and self.low <= self.high):
            refuse(f"range: read {self.low:g} to {self.high:g}, expected numbers, the lower first")
        if self.even_ratios and not self.low * self.high > 0:
            refuse(
                f"range: read {self.low:g} to {self.high:g} with even ratios, expected two "
                "numbers above 0 or two below"
            )

    def drawn(self, random: np.random.Generator) -> float:
        """Draw a number, by one uniform number, whatever the range."""
        share = float(random.random())
        if not self.even_ratios:
            return self.low + share * (self.high - self.low)
        sign = 1.0 if self.low > 0 else -1.0
        near, far = log(abs(self.low)), log(abs(self.high))
        return min(max(sign * exp(near + share * (far - near)), self.low), self.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Each:
    """A number for each of red, green and blue."""

    ranges: tuple[Range, ...]  # one or three, drawn apart

    def drawn(self, random: np.random.Generator) -> tuple[float, ...]:
        """Draw them, in their order."""
        return tuple(part.drawn(random) for part in self.ranges)


def fixed(*values: float) -> Range | Each:
    """Give what always draws the same."""
    points = tuple(Range(low=value, high=value) for value in values)
    return points[0] if len(points) == 1 else Each(ranges=points)
