"""How much light a frame got: photons on a pixel, or the exposure time where that is all."""

from dataclasses import dataclass

from linesim.files.manifest_rows import Group, Light
from linesim.forward.collect import electrons
from linesim.setup.errors import InputError
from linesim.setup.light.spectra import PHOTONS_PER_J_NM


@dataclass(frozen=True, slots=True, kw_only=True)
class LightKnown:
    """What turns an irradiance into photons."""

    wavelength_nm: float | None
    pixel_width_um: float | None
    pixel_height_um: float | None = None

    @property
    def area_um2(self) -> float:
        """Of a pixel. [µm²]."""
        width_um = self.pixel_width_um or 0.0
        return width_um * (self.pixel_height_um or width_um)


def photons_of(group: Group, light: Light | None, known: LightKnown) -> float:
    """
    Count the photons on a pixel in one frame, μ_p = A E t λ/(hc).

    References
    ----------
    EMVA 1288 R4.0 RC (March 2021), (3), (4).
    """
    if light is None:
        return group.exposure_us
    given = group.light or 0.0
    if light == "photons":
        return given
    missing = {"--wavelength": known.wavelength_nm, "--pixel": known.pixel_width_um}
    examples = {"--wavelength": '"530 nm"', "--pixel": '"7.5 um"'}
    faults = [
        f"{option}: nothing was read, but an irradiance needs it to become photons; expected for "
        f"example {option} {examples[option]}"
        for option, value in missing.items()
        if value is None
    ]
    if faults:
        raise InputError(*faults)
    per_joule = PHOTONS_PER_J_NM * (known.wavelength_nm or 0.0)
    return float(electrons(given, known.area_um2, group.exposure_us, per_joule))
