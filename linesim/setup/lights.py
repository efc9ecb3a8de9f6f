"""Changes to all the lights of a setup: brighter, or one even light in their place."""

from typing import Any

from linesim.setup.setup import Setup
from linesim.setup.surface import FACE, LAMP_KEYS
from linesim.setup.surface_relations import LIGHTS

Changes = dict[str, Any]


def brighter(setup: Setup, ratio: float) -> Changes:
    """
    Give all lights more or less light.

    Parameters
    ----------
    setup : Setup
        The station.
    ratio : float
        Light wanted over what there is.

    Returns
    -------
    dict
        Changes for `linesim.changed`, one key a light.
    """
    there = [name for name in LIGHTS if name in setup.texts]
    found: Changes = {}
    for name, light in zip(there, setup.lights, strict=True):
        if light.irradiance_w_m2 is not None:
            found[f"{name}.irradiance"] = f"{ratio * light.irradiance_w_m2!r} W/m^2"
        elif light.lamp_illuminance_lx is not None:
            found[f"{name}.lamp_illuminance"] = f"{ratio * light.lamp_illuminance_lx!r} lx"
        else:
            found[f"{name}.illuminance"] = f"{ratio * (light.illuminance_lx or 0.0)!r} lx"
    return found


def evenly_lit(setup: Setup) -> Changes:
    """
    Put one even light in the place of lamps that stand somewhere, as bright in the middle.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    dict
        Changes; none where the light is one and comes from everywhere.
    """
    placed = [f"light.{key}" for key in LAMP_KEYS if key in setup.texts["light"]]
    others = [name for name in LIGHTS[1:] if name in setup.texts]
    if not placed and not others:
        return {}
    lit = {"light.illuminance": None, "light.irradiance": f"{setup.irradiance_w_m2!r} W/m^2"}
    return {**dict.fromkeys((*placed, *others)), **lit}


def matt(setup: Setup) -> Changes:
    """
    Give a matt, level target in even light in place of a setup's own.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    dict
        Changes.
    """
    return {**dict.fromkeys(f"target.{key}" for key in FACE), **evenly_lit(setup)}
