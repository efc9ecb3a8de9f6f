"""
Wide patches: stain, missing print, colour shift, fault of texture.

A ``change`` is a share of the local reflectance, one number or red, green and blue, or an effect.
A rim that fades over a share s of the mean size makes the area of the mask, which counts by its
opacity, π/4 · width · height · (1 + (1 - 8/π²) s²).
"""

from dataclasses import dataclass
from math import sqrt

from linesim.defects.blobs import Blob
from linesim.defects.effects import Change, Colour, Contrast, Material, effect_of
from linesim.defects.fault import Fault, one_layer
from linesim.defects.pose import Pose


@dataclass(frozen=True, slots=True, kw_only=True)
class Stain:
    """A stain with a soft rim."""

    width_um: float
    height_um: float
    change: Change
    soft: float = 0.5
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        effect = effect_of(self.change)
        blob = _blob(self.width_um, self.height_um, self.soft, self.ragged, self.form)
        return one_layer("stain", pose, blob, effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingPrint:
    """A patch where print or coating is missing and what lies under it shows."""

    width_um: float
    height_um: float
    reflectance: float | Colour
    grain_change: float = 0.03
    grain_x_um: float = 60.0
    grain_y_um: float = 60.0
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        ground = self.reflectance
        effect = Material(
            reflectance=ground if isinstance(ground, tuple) else (ground,),
            change=self.grain_change,
            grain_x_um=self.grain_x_um,
            grain_y_um=self.grain_y_um,
            form=self.form,
        )
        blob = _blob(self.width_um, self.height_um, 0.0, self.ragged, self.form)
        return one_layer("missing print", pose, blob, effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourShift:
    """A patch of shifted colour: each channel is multiplied by 1 + its change."""

    width_um: float
    height_um: float
    change: Colour
    soft: float = 0.3
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        effect = effect_of(self.change)
        blob = _blob(self.width_um, self.height_um, self.soft, self.ragged, self.form)
        return one_layer("colour shift", pose, blob, effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class TextureFault:
    """A patch whose texture is rougher or smoother than around it, at the same mean."""

    width_um: float
    height_um: float
    ratio: float
    over_um: float
    soft: float = 0.2
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        effect = Contrast(ratio=self.ratio, over_um=self.over_um)
        blob = _blob(self.width_um, self.height_um, self.soft, self.ragged, self.form)
        return one_layer("texture fault", pose, blob, effect)


def _blob(width_um: float, height_um: float, soft: float, ragged: float, form: int) -> Blob:
    # a size below 0 is for the blob to refuse
    mean_um = sqrt(max(width_um * height_um, 0.0))
    return Blob(
        width_um=width_um, height_um=height_um, ragged=ragged, form=form, soft_um=soft * mean_um
    )
