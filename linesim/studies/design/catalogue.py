"""
What the trade builds, and what the user owns: sensors, links, focal lengths, stops, light.

Common practice, no source: orders of magnitude of what can be bought, not of any one product. Full
well and read noise grow with the pixel's area and side.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.setup.shown import shown

PIXEL_SIDES_UM = (3.5, 5.0, 7.0, 10.0, 14.0)
PIXELS = (1024, 2048, 4096, 6144, 8192, 12288, 16384, 32768)
LONGEST_SENSOR_MM = 90.0
"""Lenses for longer lines are made one at a time."""
FASTEST_HZ = 200e3
FASTEST_PIXELS_S = 1.6e9
"""Pixels a second that a sensor reads at most."""
LINKS_MB_S = (115.0, 380.0, 850.0, 1200.0, 3400.0)
"""What links of rising cost carry."""
WELL_E_UM2 = 800.0
"""Full well by the area of a pixel."""
NOISE_E_UM = 2.5
"""Read noise by the side of a pixel."""
FOCAL_LENGTHS_MM = (
    *(8.0, 12.0, 16.0, 20.0, 25.0, 28.0, 35.0, 40.0, 50.0, 60.0, 75.0, 80.0, 90.0),
    *(100.0, 105.0, 120.0, 135.0, 150.0, 180.0, 210.0, 240.0, 300.0),
)
WIDEST_DEG = 27.0
"""Half angle of view up to which lenses for lines are usual; cos⁴ leaves 63 % there."""
F_NUMBERS = (2.8, 3.2, 4.0, 4.5, 5.6, 6.3, 8.0, 9.0, 11.0, 13.0, 16.0)
"""Whole stops and thirds of one beyond them, as engraved."""
STEPS = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0)
"""How light is asked for: in such steps, in each decade."""
LEAST_KLX, MOST_KLX = 1.0, 2000.0
STAGES = (64, 256)
"""Of time-delay integration, tried where one row does not do."""
CAMERAS = (1, 2, 3, 4, 6, 8)
OVERLAP_SHARE, OVERLAP_MM = 0.01, 5.0
"""By which neighbouring cameras see the same: of the field, and at least."""
_SECTIONS = {"cameras": "camera", "lenses": "lens", "lamps": "light"}
_NEEDED = {
    "cameras": (("pixels", "8192"), ("pixel_width", '"5 um"')),
    "lenses": (("focal_length", '"60 mm"'),),
    "lamps": (("illuminance", '"80 klx"'),),
}
_WORKED_OUT = {
    "cameras": (),
    "lenses": ("magnification", "field_of_view"),
    "lamps": ("irradiance", "lamp_illuminance"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A camera to try: its keys, and what of them counts for a station."""

    name: str
    keys: Mapping[str, Any]
    pixels: int
    side_um: float
    rate_hz: float  # lines a second, at most [Hz]


def bodies() -> tuple[Body, ...]:
    """Give all cameras of the trade whose line is no longer than lenses are."""
    return tuple(
        _body(pixels, side_um)
        for side_um in PIXEL_SIDES_UM
        for pixels in PIXELS
        if pixels * side_um <= 1000 * LONGEST_SENSOR_MM
    )


def _body(pixels: int, side_um: float) -> Body:
    well_e, noise_e, rate_hz = (
        float(f"{each:.2g}")
        for each in (WELL_E_UM2 * side_um**2, NOISE_E_UM * side_um, FASTEST_PIXELS_S / pixels)
    )
    rate_hz = min(FASTEST_HZ, rate_hz)
    return Body(
        name=f"{pixels} px of {side_um:g} um",
        keys={
            "pixels": pixels,
            "pixel_width": f"{side_um:g} um",
            "full_well": f"{well_e / 1000:g} ke",
            "read_noise": f"{noise_e:g} e",
            "max_line_rate": f"{rate_hz / 1000:g} kHz",
        },
        pixels=pixels,
        side_um=side_um,
        rate_hz=rate_hz,
    )


def lights_lx() -> tuple[float, ...]:
    """Give illuminances as people ask for them, rising. [lx]."""
    decades = (1e2, 1e3, 1e4, 1e5, 1e6)
    found = (step * decade for decade in decades for step in STEPS)
    return tuple(each for each in found if LEAST_KLX <= each / 1000 <= MOST_KLX)


def link_mb_s(needed_mb_s: float) -> float:
    """Give the least link that carries so much; the largest where none does. [MB/s]."""
    return next((each for each in LINKS_MB_S if each >= needed_mb_s), LINKS_MB_S[-1])


def round_up(value: float) -> float:
    """Round up to a number as people choose them: two digits, in halves under 30."""
    decade = 10.0 ** np.floor(np.log10(value))
    step = decade / 20 if value < 3 * decade else decade / 10
    return float(f"{np.ceil(value / step - 1e-9) * step:.6g}")


def rounded(value: float, count: int, *, up: bool) -> float:
    """Round up or down to so many digits; what has no more stays as it is."""
    if not value:
        return value
    decade = 10.0 ** (np.floor(np.log10(abs(value))) - count + 1)
    whole = np.ceil(value / decade - 1e-9) if up else np.floor(value / decade + 1e-9)
    return float(f"{whole * decade:.{count}g}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Owned:
    """One of them: its name, its keys, and the job's base with these."""

    name: str
    keys: Mapping[str, Any]
    setup: Setup


def owned(table: Mapping[str, Any], kind: str, base: Setup, faults: list[str]) -> tuple[Owned, ...]:
    """Read those of a kind; a sentence for each fault is added."""
    found = table.get(kind, {})
    if not isinstance(found, Mapping) or not all(
        isinstance(each, Mapping) for each in found.values()
    ):
        faults.append(
            f"have.{kind}: read {shown(found)}, but expected a table for each, as "
            f'[have.{kind}."ours"]'
        )
        return ()
    return tuple(_read(kind, base, found, faults))


def _read(
    kind: str, base: Setup, found: Mapping[str, Mapping[str, Any]], faults: list[str]
) -> Iterator[Owned]:
    section = _SECTIONS[kind]
    for name, keys in found.items():
        where = f'have.{kind}."{name}"'
        wrong = [*_missing(kind, where, keys), *_too_much(kind, where, keys)]
        if wrong:
            faults += wrong
            continue
        try:
            setup = changed(base, {f"{section}.{key}": value for key, value in keys.items()})
        except InputError as refusal:
            faults += [each.replace(f"{section}.", f"{where}.", 1) for each in refusal.faults]
            continue
        yield Owned(name=name, keys=keys, setup=setup)


def _missing(kind: str, where: str, keys: Mapping[str, Any]) -> Iterator[str]:
    for key, example in _NEEDED[kind]:
        if key not in keys:
            yield f"{where}.{key}: nothing was read, but this key is needed, for example {example}"


def _too_much(kind: str, where: str, keys: Mapping[str, Any]) -> Iterator[str]:
    for key in _WORKED_OUT[kind]:
        if key in keys:
            yield (
                f"{where}.{key}: read {shown(keys[key])}, but design works this out; expected "
                f"{' and '.join(name for name, _ in _NEEDED[kind])} in its place"
            )
