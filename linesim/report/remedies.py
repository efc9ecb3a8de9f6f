"""What helps where a station cannot run or clips, in the units that the user typed."""

from linesim.figures.clipping import unclipped_ratio
from linesim.figures.plain_numbers import at_most, rate, ratio_words
from linesim.figures.verdicts import Verdict
from linesim.forward.station import station
from linesim.setup.quantity import parse_quantity, unit_of
from linesim.setup.setup import Setup

_LEAST = 1e-3
_MOST = 1e3
"""Times the light that is there: further off, a light is not told."""
_MANY_LX = 1e4
"""From here on kilolux are easier to read."""


def remedy(setup: Setup, verdict: Verdict) -> str:
    """Say what helps."""
    by_requirement = {
        "clipping": _darker,
        "exposure": _shorter,
        "line_rate": _slower,
        "pulse_rate": _slower,
        "link": _slower,
    }
    helps = by_requirement.get(verdict.requirement)
    return "" if verdict.met or helps is None else helps(setup, verdict)


def _darker(setup: Setup, verdict: Verdict) -> str:
    light = light_that_fits(setup, verdict.got)
    return "would in any light" if light is None else f"stops clipping at {light}"


def _slower(setup: Setup, verdict: Verdict) -> str:
    calm = _calm(setup, verdict.wanted / verdict.got)
    if verdict.requirement == "link":
        return f"{calm}, join pixels or take a wider link"
    if setup.transport.trigger == "encoder" and setup.transport.encoder_divider is not None:
        return f"{calm} or raise encoder_divider"
    fixed = setup.transport.trigger == "clock" and not isinstance(setup.acquisition.line_rate, str)
    return calm if fixed else f"{calm} or enlarge the object pixel"


def _calm(setup: Setup, share: float) -> str:
    """Say what brings the line rate down to a share of what it is, at the same sampling."""
    transport, texts = setup.transport, setup.texts["transport"]
    slow = f"slow to {as_typed(texts['speed'], share * transport.speed_mm_s, 'mm/s')}"
    if transport.trigger == "encoder":
        return slow
    asked, believed = setup.acquisition.line_rate, transport.assumed_speed_mm_s
    if not isinstance(asked, str):
        least = rate(float(at_most(share * asked, 4)), 4)
        return f"ask for no more than {least}, and {slow} to keep the sampling"
    if believed is not None:
        return (
            f"{slow} (assumed_speed {as_typed(texts['assumed_speed'], share * believed, 'mm/s')})"
        )
    return slow


def _shorter(setup: Setup, verdict: Verdict) -> str:
    if verdict.wanted <= 0:
        return "no time is left beside the dead time"
    # the period that this exposure needs, against the one there is
    dead_us = setup.camera.dead_time_us
    share = (verdict.wanted + dead_us) / (verdict.got + dead_us)
    return f"expose {at_most(verdict.wanted)} us at most, or {_calm(setup, share)}"


def as_typed(text: object, value: float, unit: str) -> str:
    """Write a number in the unit that the user typed, rounded down to three digits."""
    typed = unit_of(str(text))
    if typed == "lx" and value >= _MANY_LX:
        typed = "klx"
    return f"{at_most(value / parse_quantity(f'1 {typed}', unit))} {typed}"


def light_that_fits(setup: Setup, share: float) -> str | None:
    """Find the light at which the brightest part comes up to the nearest limit and no further."""
    numbers, light = station(setup), setup.texts["light"]
    lamp_w_m2, other_w_m2 = setup.irradiance_w_m2, setup.ambient_w_m2
    if lamp_w_m2 <= 0:
        return None
    wanted_w_m2 = unclipped_ratio(numbers, share) * (lamp_w_m2 + other_w_m2) - other_w_m2
    ratio = wanted_w_m2 / lamp_w_m2
    if not _LEAST <= ratio <= _MOST:
        return None
    if len(setup.lights) > 1:
        return f"{ratio_words(ratio)} the light"
    values = {
        "illuminance": (setup.light.illuminance_lx, "lx"),
        "lamp_illuminance": (setup.light.lamp_illuminance_lx, "lx"),
        "irradiance": (lamp_w_m2, "W/m^2"),
    }
    key = next(key for key in values if key in light)
    value, unit = values[key]
    return as_typed(light[key], ratio * (value or 0.0), unit)
