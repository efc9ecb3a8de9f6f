"""Cautions about people: eyes, heat, machines. They name no risk group: that needs the lamp."""

from collections.abc import Iterator

from linesim.setup.setup import Setup

BRIGHT_W_M2 = 1000.0
"""Irradiance above which we speak of bright light; our choice."""
INVISIBLE_SHARE = 0.01
"""Share of the power outside 380-780 nm above which we speak of invisible light."""
LASER_WIDTH_NM = 5.0
STROBE_HZ = (3.0, 60.0)
"""Flashing that photosensitive people must be kept from; from memory."""
_GAUSSIAN_EQUIVALENT = 1.0645
"""Area over peak of a Gaussian, in units of its full width at half maximum."""

MACHINERY = (
    "Moving webs and nips draw hands in: guard and lock out by local code; electrical and guarding "
    "work by licensed people."
)
"""The one line that always stands in console and report."""


def safety_cautions(setup: Setup) -> Iterator[tuple[str, str]]:
    """
    Find what to mind about the light.

    Parameters
    ----------
    setup : Setup
        The station.

    Yields
    ------
    tuple of str
        Code and text.
    """
    light_w_m2, spectrum = setup.irradiance_w_m2, setup.light.spectrum
    if light_w_m2 > BRIGHT_W_M2:
        yield (
            "bright_light",
            (
                f"{light_w_m2:.3g} W/m² at the target is over 1 kW/m² (our threshold). Bright "
                "narrow sources can hurt eyes; the risk group depends on the source, not on this "
                "figure: ask the light's maker for it (IEC 62471), and shield direct and mirrored "
                "views."
            ),
        )
        yield (
            "heat_on_stop",
            "A target that stops under this light can scorch: interlock the light with motion.",
        )
    if light_w_m2 > 0 and spectrum.invisible_share > INVISIBLE_SHARE:
        yield (
            "invisible_light",
            (
                f"{spectrum.invisible_share:.0%} of the power is outside 380-780 nm: the eye does "
                "not see it and does not blink. Ask the light's maker for the risk group "
                "(IEC 62471)."
            ),
        )
    slow, fast = STROBE_HZ
    if setup.light.flicker > 0 and slow <= setup.light.flicker_frequency_hz <= fast:
        yield (
            "visible_flicker",
            (
                f"Light that swings at {setup.light.flicker_frequency_hz:g} Hz is seen to flash: "
                "from 3 to 60 Hz it can harm photosensitive people (from memory)."
            ),
        )
    width_nm = 1 / float(spectrum.weight_per_nm.max()) / _GAUSSIAN_EQUIVALENT
    if light_w_m2 > 0 and width_nm <= LASER_WIDTH_NM:
        yield (
            "laser",
            (
                f"The light is {width_nm:.2g} nm wide: if this is a laser, IEC 60825-1 and a laser "
                "safety officer apply."
            ),
        )
