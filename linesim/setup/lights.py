"""What is done to all lights of a setup: brighter, one even light instead, or a picture each."""

from typing import Any

from linesim.setup.arguments import checked_setup
from linesim.setup.errors import refuse
from linesim.setup.load import changed, known_keys
from linesim.setup.setup import Setup
from linesim.setup.surface import FACE, LAMP_KEYS, LIGHTS

Changes = dict[str, Any]


def brighter(setup: Setup, ratio: float) -> Changes:
    """Give all lights so many times as much light."""
    found: Changes = {}
    for name, light in setup.named_lights.items():
        if light.irradiance_w_m2 is not None:
            found[f"{name}.irradiance"] = f"{ratio * light.irradiance_w_m2!r} W/m^2"
        elif light.lamp_illuminance_lx is not None:
            found[f"{name}.lamp_illuminance"] = f"{ratio * light.lamp_illuminance_lx!r} lx"
        else:
            found[f"{name}.illuminance"] = f"{ratio * (light.illuminance_lx or 0.0)!r} lx"
    return found


def evenly_lit(setup: Setup) -> Changes:
    """Put one even light, as bright in the middle, in the place of lamps; no change for one."""
    placed = [f"light.{key}" for key in LAMP_KEYS if key in setup.texts["light"]]
    others = list(setup.named_lights)[1:]
    if not placed and not others:
        return {}
    lit = {"light.illuminance": None, "light.irradiance": f"{setup.irradiance_w_m2!r} W/m^2"}
    return {**dict.fromkeys((*placed, *others)), **lit}


def matt(setup: Setup) -> Changes:
    """Give a matt, level target in even light in place of a setup's own."""
    return {**dict.fromkeys(f"target.{key}" for key in FACE), **evenly_lit(setup)}


def refuse_multiplexed(setup: Setup) -> None:
    """Refuse lights that shine in turn where one picture is worked out."""
    if setup.light.multiplexed:
        refuse(
            "light.multiplexed: read true, so that each light gives a picture of its own; expected "
            "one of linesim.light_views(setup), whose files linesim scan writes too, or "
            "multiplexed left out"
        )


def light_views(setup: Setup) -> tuple[tuple[str, Setup], ...]:
    """
    Give name, as "light-1", and station of each picture of a camera under multiplexed lights.

    The camera exposes a line under each light in turn. A picture has the lines of one light; it is
    a station with that light alone, which knows by `light.turn` that the camera also exposes the
    lines of the others: so "full" exposure, line rate and link are those of all, and picture k of n
    starts (k - 1)/n of a line later on the target. A `line_rate` in Hz is that of all lines
    exposed; "matched" and "square" hold in each picture. Noise of two pictures is independent where
    their seeds differ. InputError where the lights are not multiplexed, or one alone is no valid
    setup.
    """
    if not checked_setup(setup).light.multiplexed:
        refuse(
            "light.multiplexed: nothing was read, but only lights that shine in turn give a "
            "picture each; expected multiplexed = true"
        )
    names = list(setup.named_lights)
    return tuple(
        (f"light-{number}", changed(setup, _alone(setup, names, number)))
        for number in range(1, len(names) + 1)
    )


def _alone(setup: Setup, names: list[str], number: int) -> Changes:
    """Leave one light, with what the first says for all."""
    count, own = len(names), setup.texts[names[number - 1]]
    of_a_lamp = {f"light.{key}": own.get(key) for key in known_keys((LIGHTS[1],))}
    return {
        "title": f"{setup.title}: light {number} of {count}",
        **of_a_lamp,
        **dict.fromkeys(names[1:]),
        "light.multiplexed": None,
        "light.turn": f"{number} of {count}",
        **_paced(setup, count),
    }


def _paced(setup: Setup, count: int) -> Changes:
    """Start a picture's lines at every so manieth of the camera's."""
    rate_hz, divider = setup.acquisition.line_rate, setup.transport.encoder_divider
    changes: Changes = {}
    if not isinstance(rate_hz, str):
        changes["acquisition.line_rate"] = f"{rate_hz / count!r} Hz"
    if divider is not None:
        changes["transport.encoder_divider"] = count * divider
    return changes
