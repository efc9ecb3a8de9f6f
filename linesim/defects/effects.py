"""
What a fault does to the reflectance under it, in linear light.

Each gives the reflectance of a place that the fault covers wholly; where it covers a share of a
pixel, the two are mixed by that share. Nothing goes below 0 or above a perfect white, unless the
target is brighter itself. A colour has one number for all channels or three for red, green and
blue; on a grey target three count by their mean.
"""

from dataclasses import dataclass
from typing import ClassVar, Protocol

import numpy as np
import scipy

from linesim.defects.window import View
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import refuse
from linesim.targets.painted import Grid
from linesim.targets.texture import Texture

Colour = tuple[float, ...]
"""One number, or red, green and blue."""
_REACH = 3.0  # of a bell that is cut off, in standard deviations


def for_channels(colour: Colour, image: ImageArray) -> ImageArray:
    """
    Bring a colour to the channels of an image.

    Parameters
    ----------
    colour : tuple of float; one, or red, green and blue
    image : ndarray of shape (rows, columns) or (rows, columns, 3)

    Returns
    -------
    ndarray of float32, of shape () or (3,); on a grey image their mean
    """
    values = np.asarray(colour, dtype=np.float32)
    grey = image.ndim == 2 or len(colour) == 1  # noqa: PLR2004 -- rows and columns alone
    return np.asarray(values.mean(dtype=np.float32) if grey else values)


def kept_physical(wanted: ImageArray, image: ImageArray) -> ImageArray:
    """Keep reflectance between nothing and a perfect white."""
    limited: ImageArray = np.clip(wanted, np.float32(0), np.maximum(image, np.float32(1)))
    return limited


def need_colour(name: str, colour: Colour, *, low: float) -> None:
    """Refuse what is no colour."""
    if len(colour) in {1, 3} and all(np.isfinite(part) and part >= low for part in colour):
        return
    refuse(f"{name}: read {colour}, expected one number or three, each {low:g} or more")


class Effect(Protocol):
    """What becomes of the reflectance."""

    @property
    def reach_um(self) -> float:
        """How far around a place the target counts for it. [µm]."""

    def applied(self, view: View, base: View) -> ImageArray:
        """Give what is there instead, of ``base`` the untouched target with a margin around."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Relative:
    """Change by a share of the local reflectance: ρ (1 + change)."""

    change: Colour
    reach_um: ClassVar[float] = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no change."""
        need_colour("change", self.change, low=-1)

    def applied(self, view: View, base: View) -> ImageArray:  # noqa: ARG002 -- the place alone
        """Give ρ (1 + change)."""
        factor = 1 + for_channels(self.change, view.image)
        return kept_physical(view.image * factor, view.image)


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Another material in place of the local one."""

    reflectance: Colour
    change: float = 0.0
    grain_x_um: float = 40.0
    grain_y_um: float = 40.0
    form: int = 0
    reach_um: ClassVar[float] = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no material."""
        need_colour("reflectance", self.reflectance, low=0)
        if not (self.grain_x_um > 0 and self.grain_y_um > 0):
            refuse(
                f"grain: read {self.grain_x_um:g} um and {self.grain_y_um:g} um, "
                "expected sizes above 0 um"
            )

    def applied(self, view: View, base: View) -> ImageArray:  # noqa: ARG002 -- the place alone
        """Give the material, its grain counted from the window's left side."""
        even = np.zeros_like(view.image) + for_channels(self.reflectance, view.image)
        if not self.change:
            return even
        window = view.window
        texture = Texture(
            seed=self.form,
            number=0,
            grain_x_mm=self.grain_x_um / 1000,
            grain_y_mm=self.grain_y_um / 1000,
        )
        grid = Grid(
            pixel_size_um=window.grid.pixel_size_um,
            rows=window.grid.rows,
            columns=window.shape[1],
        )
        grain = 1 + np.float32(self.change) * texture.block(grid, window.top, window.bottom)
        rough = even * grain.reshape(*grain.shape, *(1,) * (even.ndim - 2))
        return kept_physical(rough, even)


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """More or less contrast about the local mean: mean + ratio (ρ - mean)."""

    ratio: float
    over_um: float

    def __post_init__(self) -> None:
        """Refuse what is no contrast."""
        if not (self.ratio >= 0 and self.over_um > 0):
            refuse(
                f"contrast: read a ratio of {self.ratio:g} over {self.over_um:g} um, "
                "expected 0 or more, over a length above 0 um"
            )

    @property
    def reach_um(self) -> float:
        """As far as the local mean goes. [µm]."""
        return _REACH * self.over_um

    def reach_px(self, pixel_size_um: float) -> int:
        """Tell how many pixels of a size the local mean goes to each side."""
        return int(np.ceil(_REACH * (self.over_um / pixel_size_um)))

    def applied(self, view: View, base: View) -> ImageArray:
        """Give mean + ratio (ρ - mean)."""
        mean = self._mean(view, base)
        return kept_physical(mean + np.float32(self.ratio) * (view.image - mean), view.image)

    def _mean(self, view: View, base: View) -> ImageArray:
        sigma_px = self.over_um / view.window.grid.pixel_size_um
        reach_px = self.reach_px(view.window.grid.pixel_size_um)
        bell = np.exp(-((np.arange(-reach_px, reach_px + 1) / sigma_px) ** 2) / 2)
        around = view.window.grown(reach_px)
        mean = np.asarray(base.part(around), dtype=np.float64)
        for axis in (0, 1):
            mean = scipy.ndimage.correlate1d(mean, bell / bell.sum(), axis=axis, mode="nearest")
        rows, columns = view.window.within(around)
        part: ImageArray = mean[rows, columns].astype(np.float32)
        return part


Change = float | Colour | Effect
"""A share of the local reflectance, one for each channel, or an effect of another kind."""


def effect_of(change: Change) -> Effect:
    """Read a change."""
    if isinstance(change, tuple):
        return Relative(change=change)
    return Relative(change=(change,)) if isinstance(change, float | int) else change
