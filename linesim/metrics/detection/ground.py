"""The product that a defect lies on, and how far the defect sinks below it, as delivered."""

from dataclasses import dataclass, replace

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.kept import kept
from linesim.forward.station import Station
from linesim.metrics.detection.energy import Backdrop
from linesim.metrics.detection.flanks import DARKEST
from linesim.metrics.detection.texture import Texture

LEARNT_LINES = 256
"""Lines of good product from which each column's own level is known; our choice."""
_NOTHING = 1e-9
"""Share of the level under which a depth is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Good product, and how far a defect sinks below it, as delivered."""

    level_e: Figure  # signal before any limit [e]
    noise_e: Figure  # temporal noise of each sample by itself that is left [e]
    streaks_e: Figure  # spread of the columns once their levels are learnt [e]
    charge_e: Figure  # the same with the dark current [e]
    # of a full defect, as a share of the level, and what is left of it behind the limits [e]
    contrast: Figure
    depth_e: Figure
    texture: Texture | None
    slope: Figure  # share of a small change of the signal that limits leave
    lines_e: Figure = 0.0  # temporal noise that all samples of a line share [e]

    @property
    def temporal_e(self) -> Figure:
        """Temporal noise of a sample, with what its line shares. [e]."""
        return np.hypot(self.noise_e, self.lines_e)

    @property
    def backdrop(self) -> Backdrop | None:
        """The texture as noise; nothing where there is none."""
        if self.texture is None:
            return None
        seen_e = self.slope * np.asarray(self.level_e)
        return Backdrop(texture=self.texture, level_e=seen_e, noise_e=self.noise_e)


def ground(
    numbers: Station, product: Figure, contrast: Figure, texture: Texture | None = None
) -> Ground:
    """Work out the product, a share of white, on which a defect differs by a share of that."""
    level_e = product * np.asarray(numbers.electrons_white)
    good, dark = kept(numbers, level_e), kept(numbers, level_e * (1 - np.asarray(contrast)))
    fixed_e2 = np.square(good.slope * numbers.pattern_e(level_e))
    lines_e = good.slope * np.asarray(numbers.line_noise_e)
    noise_e2 = np.square(good.noise_e) - np.square(lines_e)
    depth_e = good.charge_e - dark.charge_e
    return Ground(
        level_e=level_e,
        noise_e=np.sqrt(noise_e2),
        streaks_e=np.sqrt(fixed_e2 * noise_e2 / (noise_e2 + LEARNT_LINES * fixed_e2)),
        charge_e=level_e + numbers.dark_e,
        contrast=contrast,
        # where both clip, what is left is rounding of the computer
        depth_e=np.where(depth_e > _NOTHING * level_e, depth_e, 0.0),
        texture=texture,
        slope=good.slope,
        lines_e=lines_e,
    )


def ground_of_changes(numbers: Station, product: Figure, texture: Texture | None = None) -> Ground:
    """
    Work out the product that a fault with relief lies on, and what a small change of it is worth.

    Its depth is that of a change of 1, by the slope that limits leave at the level; noise on the
    fault is that of the product.
    """
    good = ground(numbers, product, 0.0, texture)
    level_e = np.maximum(product, DARKEST) * np.asarray(numbers.electrons_white)
    # where the product clips, what is left is rounding of the computer
    slope = np.where(np.asarray(good.slope) > _NOTHING, good.slope, 0.0)
    return replace(good, depth_e=slope * level_e)
