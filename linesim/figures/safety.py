"""
Cautions about people: eyes, skin, heat, flicker, machines. They name no risk group.

What a light does to people depends on the lamp, on how it is looked at and for how long, which the
figures of a station do not tell. So the cautions say what to ask and whom: the light's maker, local
code, people licensed for the work.

References
----------
IEC 62471 (lamps), IEC 60825-1 (lasers), by title only: no limit of theirs is worked out here.
Hazards of machines, heights, solvents and food lines: common practice, no source.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import pi

from linesim.figures.plain_numbers import digits, percent
from linesim.forward.geometry import geometry, timing
from linesim.setup.light.thermal import WholeLight, whole_light
from linesim.setup.setup import Setup
from linesim.setup.surface import PLACED

BRIGHT_W_M2 = 1000.0
"""Irradiance over all wavelengths above which we speak of bright light; our choice."""
BRIGHT_W_M2_SR = BRIGHT_W_M2 / pi
"""Radiance of a white in so much light, above which we speak of a bright lamp; our choice."""
INVISIBLE_SHARE = 0.01
"""Share of the power outside 380-780 nm, or below 380 nm, above which we name it; our choice."""
VIOLET_SHARE = 0.1
"""Share of the power below 400 nm above which we speak of ultraviolet light; our choice."""
LASER_WIDTH_NM = 5.0
STROBE_HZ = (3.0, 60.0)
"""Flashing that photosensitive people must be kept from; from memory."""
_GAUSSIAN_EQUIVALENT = 1.0645
"""Area over peak of a Gaussian, in units of its full width at half maximum."""
_FEW = 3

MACHINERY = (
    "Moving webs and nips draw hands in: guard and lock out by local code; lift lamps over a web "
    "at rest only. Lamp heads are hot; no bare glass over food; where solvent vapour or dust "
    "gathers, local code sets explosive zones. Electrical, guarding and lifting work by licensed "
    "people."
)
"""What always stands in console and report."""

CODES = (
    "bright_light",
    "bright_lamp",
    "heat_on_stop",
    "light_beyond_table",
    "invisible_light",
    "ultraviolet",
    "visible_flicker",
    "stroboscopic",
    "laser",
)
"""All codes of cautions about the light, in order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """One caution about people, of several stations."""

    code: str  # fixed word for machines
    text: str  # sentences, with the figures of the station of most light that it holds for
    titles: tuple[str, ...]  # of the stations that it holds for, in order
    stations: int

    @property
    def who(self) -> str:
        """Titles that it holds for: none where it holds for all, the ends where they are many."""
        count = len(self.titles)
        if count == self.stations:
            return ""
        if count <= _FEW:
            return ", ".join(self.titles)
        return f"{self.titles[0]} to {self.titles[-1]}, {count} of {self.stations}"

    @property
    def line(self) -> str:
        """Code, who, and sentences."""
        return f"{self.code}{f' ({self.who})' if self.who else ''}: {self.text}"


def total_w_m2(setup: Setup) -> float:
    """Give the irradiance at the target over all wavelengths, lamp and ambient light together."""
    table_w_m2 = setup.irradiance_w_m2 + setup.ambient_w_m2
    return table_w_m2 * whole_light(setup.light.spectrum).total_ratio


def safety_cautions(setup: Setup) -> Iterator[tuple[str, str]]:
    """Find what to mind about the light."""
    light_w_m2, whole = total_w_m2(setup), whole_light(setup.light.spectrum)
    if light_w_m2 > 0:
        yield from _bright(setup, light_w_m2, whole)
        yield from _unseen(setup, whole)
        yield from _flicker(setup)
        yield from _narrow(setup)


def shared_cautions(stations: Iterable[tuple[str, Setup]]) -> tuple[Shared, ...]:
    """Give the cautions about the light of many stations, each once."""
    each = [(title, total_w_m2(setup), list(safety_cautions(setup))) for title, setup in stations]
    found: dict[str, tuple[float, str, list[str]]] = {}
    for title, light_w_m2, cautions in each:
        for code, text in cautions:
            most_w_m2, kept, titles = found.get(code, (-1.0, "", []))
            if light_w_m2 > most_w_m2:
                most_w_m2, kept = light_w_m2, text
            found[code] = (most_w_m2, kept, [*titles, title])
    return tuple(
        Shared(code=code, text=found[code][1], titles=tuple(found[code][2]), stations=len(each))
        for code in CODES
        if code in found
    )


def people_lines(shared: Iterable[Shared]) -> list[str]:
    """Give cautions about people as lines, and behind them the one about machines."""
    return [*(each.line for each in shared), MACHINERY]


def _bright(setup: Setup, light_w_m2: float, whole: WholeLight) -> Iterator[tuple[str, str]]:
    ends_nm = "{:.4g}-{:.4g} nm".format(*setup.light.spectrum.wavelength_nm[[0, -1]])
    if light_w_m2 > BRIGHT_W_M2:
        text = (
            f"{_watts(setup, light_w_m2, ends_nm)} at the target is over 1 kW/m² (our "
            "threshold). Bright narrow sources can hurt eyes; the risk group depends on the "
            "source, not on this figure: ask the light's maker for it (IEC 62471), and shield "
            "direct and mirrored views."
        )
        yield "bright_light", text
    radiance = max(_radiances_w_m2_sr(setup), default=0.0) * whole.total_ratio
    if radiance > BRIGHT_W_M2_SR:
        text = (
            f"To give this light the lamp's face takes a radiance of {digits(radiance)} "
            f"W/(m² sr), over that of a white in 1 kW/m², {digits(BRIGHT_W_M2_SR)} (our "
            "threshold). Eyes are judged by radiance (IEC 62471): ask the lamp's maker, keep "
            "out of its line of sight, and shield its mirror image on glossy product."
        )
        yield "bright_lamp", text
    if light_w_m2 > BRIGHT_W_M2:
        yield (
            "heat_on_stop",
            "A target that stops under this light can scorch: interlock the light with motion.",
        )
    if whole.is_cut:
        text = (
            f'Spectrum "{setup.light.spectrum.name}" is known at {ends_nm} only, and strong at '
            f"an end of that: {digits(light_w_m2)} W/m² is the least that falls on the target. "
            "Ask the light's maker for its ultraviolet and infrared, which eyes, skin and "
            "product take too."
        )
        yield "light_beyond_table", text


def _radiances_w_m2_sr(setup: Setup) -> list[float]:
    """Radiance of each lamp that stands somewhere, over the table's wavelengths. [W/(m² sr)]."""
    return [
        float(lamp.radiance_w_m2_sr)
        for lamp, light in zip(setup.lamps, setup.lights, strict=True)
        if light.arrangement in PLACED
    ]


def _watts(setup: Setup, light_w_m2: float, ends_nm: str) -> str:
    """Say the total, and of a thermal light how it comes about."""
    temperature_k = whole_light(setup.light.spectrum).temperature_k
    if temperature_k is None:
        return f"{digits(light_w_m2)} W/m²"
    table_w_m2 = setup.irradiance_w_m2 + setup.ambient_w_m2
    return (
        f"About {digits(light_w_m2)} W/m² over all wavelengths ({digits(table_w_m2)} W/m² at "
        f"{ends_nm}, continued by Planck's law at {temperature_k:.0f} K)"
    )


def _unseen(setup: Setup, whole: WholeLight) -> Iterator[tuple[str, str]]:
    if whole.invisible_share > INVISIBLE_SHARE:
        how = "" if whole.temperature_k is None else " (by Planck's law)"
        text = (
            f"{percent(whole.invisible_share, 2)} of the power is outside 380-780 nm{how}: "
            "the eye does not see it and does not blink. Ask the light's maker for the risk "
            "group (IEC 62471)."
        )
        yield "invisible_light", text
    if whole.ultraviolet_share > INVISIBLE_SHARE or whole.violet_share > VIOLET_SHARE:
        text = (
            f"{percent(whole.violet_share, 2)} of the power of {setup.light.spectrum.name} is "
            "below 400 nm: ultraviolet light harms skin as well as eyes, also by reflection. Ask "
            "the light's maker for the risk group (IEC 62471); enclose it, and cover eyes and skin."
        )
        yield "ultraviolet", text


def _flicker(setup: Setup) -> Iterator[tuple[str, str]]:
    slow, fast = STROBE_HZ
    swings_hz = [setup.light.flicker_frequency_hz] if setup.light.flicker > 0 else []
    if setup.light.pulse_us is not None or setup.turn.lights > 1:
        swings_hz.append(float(timing(setup, geometry(setup)).exposed_rate_hz))
    if not swings_hz:
        return
    swing_hz = min(swings_hz)
    if slow <= swing_hz <= fast:
        text = (
            f"Light that swings at {swing_hz:g} Hz is seen to flash: from 3 to 60 Hz it can "
            "harm photosensitive people (from memory)."
        )
        yield "visible_flicker", text
    text = (
        f"Light that swings or is pulsed ({swing_hz:g} Hz) can make rollers and blades "
        "seem to stand still or to creep: keep guards closed, light the place steadily as "
        "well, and never judge a standstill by eye."
    )
    yield "stroboscopic", text


def _narrow(setup: Setup) -> Iterator[tuple[str, str]]:
    width_nm = 1 / float(setup.light.spectrum.weight_per_nm.max()) / _GAUSSIAN_EQUIVALENT
    if width_nm <= LASER_WIDTH_NM:
        text = (
            f"The light is {width_nm:.2g} nm wide: if this is a laser, IEC 60825-1 and a laser "
            "safety officer apply."
        )
        yield "laser", text
