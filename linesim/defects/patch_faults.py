"""
Wide patches: stain, missing print, colour shift, fault of texture.

A ``change`` is a share of the local reflectance, one number or red, green and blue, or an effect.
A rim that fades over a share s of the mean size makes the area of the mask, which counts by its
opacity, π/4 · width · height · (1 + (1 - 8/π²) s²).
"""

from dataclasses import dataclass
from math import sqrt

from linesim.defects.blobs import Blob
from linesim.defects.colours import Colour
from linesim.defects.effects import Change, Contrast, Material, effect_of
from linesim.defects.fault import Fault, one_layer
from linesim.defects.pose import Pose


@dataclass(frozen=True, slots=True, kw_only=True)
class Stain:
    """
    A stain with a soft rim.

    Parameters
    ----------
    width_um, height_um : float
        Mean size at half the change, across and along its own axes. [µm]
    change : float, tuple of float or Effect
        Share of the local reflectance that it adds or takes in its middle.
    soft : float
        Length of the rim over which it fades, over the mean size; 0 to 1.
    ragged : float
        How much its outline goes in and out, rms over its radius.
    form : int
        Seed of its outline.
    """

    width_um: float
    height_um: float
    change: Change
    soft: float = 0.5
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """
        Put it on a target.

        Parameters
        ----------
        pose : Pose
            Its middle.

        Returns
        -------
        Fault
            Its mask is its opacity.

        Raises
        ------
        InputError
            If a number is out of range.
        """
        effect = effect_of(self.change)
        blob = _blob(self.width_um, self.height_um, self.soft, self.ragged, self.form)
        return one_layer("stain", pose, blob, effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingPrint:
    """
    A patch where print or coating is missing and what lies under it shows.

    Parameters
    ----------
    width_um, height_um : float
        Mean size at half the change, across and along its own axes. [µm]
    reflectance : float or tuple of float
        Of the ground, one number or red, green and blue.
    grain_change : float
        Spread of the ground's grain, rms share of its reflectance.
    grain_x_um, grain_y_um : float
        Size of the grain across travel and along it. [µm]
    ragged : float
        How much its outline goes in and out, rms over its radius.
    form : int
        Seed of its outline and of the grain.
    """

    width_um: float
    height_um: float
    reflectance: float | Colour
    grain_change: float = 0.03
    grain_x_um: float = 60.0
    grain_y_um: float = 60.0
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """
        Put it on a target.

        Parameters
        ----------
        pose : Pose
            Its middle.

        Returns
        -------
        Fault
            Its mask is the patch, of area π/4 · width · height.

        Raises
        ------
        InputError
            If a number is out of range.
        """
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
    """
    A patch of shifted colour: each channel is multiplied by 1 + its change.

    Parameters
    ----------
    width_um, height_um : float
        Mean size at half the change, across and along its own axes. [µm]
    change : tuple of float
        Share of the local reflectance that red, green and blue gain or lose; a grey target takes
        their mean.
    soft : float
        Length of the rim over which it fades, over the mean size; 0 to 1.
    ragged : float
        How much its outline goes in and out, rms over its radius.
    form : int
        Seed of its outline.
    """

    width_um: float
    height_um: float
    change: Colour
    soft: float = 0.3
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """
        Put it on a target.

        Parameters
        ----------
        pose : Pose
            Its middle.

        Returns
        -------
        Fault
            Its mask is its opacity.

        Raises
        ------
        InputError
            If a number is out of range.
        """
        effect = effect_of(self.change)
        blob = _blob(self.width_um, self.height_um, self.soft, self.ragged, self.form)
        return one_layer("colour shift", pose, blob, effect)


@dataclass(frozen=True, slots=True, kw_only=True)
class TextureFault:
    """
    A patch whose texture is rougher or smoother than around it, at the same mean.

    Parameters
    ----------
    width_um, height_um : float
        Mean size at half the change, across and along its own axes. [µm]
    ratio : float
        Contrast of the texture over that around; 0 is quite smooth.
    over_um : float
        Texture is what is finer than that: the mean is taken by a bell of this standard
        deviation. [µm]
    soft : float
        Length of the rim over which it fades, over the mean size; 0 to 1.
    ragged : float
        How much its outline goes in and out, rms over its radius.
    form : int
        Seed of its outline.
    """

    width_um: float
    height_um: float
    ratio: float
    over_um: float
    soft: float = 0.2
    ragged: float = 0.06
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """
        Put it on a target.

        Parameters
        ----------
        pose : Pose
            Its middle.

        Returns
        -------
        Fault
            Its mask is its opacity.

        Raises
        ------
        InputError
            If a number is out of range.
        """
        effect = Contrast(ratio=self.ratio, over_um=self.over_um)
        blob = _blob(self.width_um, self.height_um, self.soft, self.ragged, self.form)
        return one_layer("texture fault", pose, blob, effect)


def _blob(width_um: float, height_um: float, soft: float, ragged: float, form: int) -> Blob:
    # a size below 0 is for the blob to refuse
    mean_um = sqrt(max(width_um * height_um, 0.0))
    return Blob(
        width_um=width_um, height_um=height_um, ragged=ragged, form=form, soft_um=soft * mean_um
    )
