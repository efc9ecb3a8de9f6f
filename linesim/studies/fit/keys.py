"""Which keys are fitted: those asked for, or the usual ones of a setup."""

from collections.abc import Sequence
from difflib import get_close_matches

from linesim.setup.errors import InputError
from linesim.setup.lens.over_field import OverField
from linesim.setup.setup import Setup
from linesim.studies.fit.key_table import BY_NAME, Key

MOTION = (
    "transport.assumed_speed",
    "transport.speed",
    "transport.encoder_step",
    "transport.skew",
    "transport.speed_ripple",
)
"""Keys that are read off where the lines lie."""
_USUAL = (
    "light.illuminance",
    "light.irradiance",
    "camera.gain",
    "camera.black_level",
    "camera.read_noise",
    "lens.blur",
    "light.edge_falloff",
    "camera.prnu",
)


def advance_key(setup: Setup) -> str:
    """Name the key that the distance of lines tells: of the clock, or of the encoder."""
    if setup.transport.trigger == "encoder":
        return "transport.encoder_step"
    by_name = isinstance(setup.acquisition.line_rate, str)
    return "transport.assumed_speed" if by_name else "transport.speed"


def usual_keys(setup: Setup) -> tuple[str, ...]:
    """List what is fitted where nothing is asked for: what captures mostly tell."""
    flat = setup.acquisition.flat_field
    gone = {"light.edge_falloff", "camera.prnu"} if flat else set()
    gone.add("light.irradiance" if setup.light.irradiance_w_m2 is None else "light.illuminance")
    if setup.light.illuminance_lx is None and setup.light.irradiance_w_m2 is None:
        gone |= {"light.irradiance", "light.illuminance"}
    ripple = ("transport.speed_ripple",) if setup.transport.trigger == "clock" else ()
    found = [name for name in _USUAL if name not in gone and _is_number(BY_NAME[name], setup)]
    return (*found, advance_key(setup), "transport.skew", *ripple)


def checked_keys(names: Sequence[str], setup: Setup) -> tuple[str, ...]:
    """Take the keys asked for, or refuse them."""
    asked = list(dict.fromkeys(name.strip() for name in names if name.strip()))
    faults = [fault for name in asked if (fault := _fault(name, setup))]
    if not asked:
        faults = ["--keys: nothing was read; expected keys such as light.illuminance,lens.blur"]
    if faults:
        raise InputError(*faults)
    return tuple(asked)


def _fault(name: str, setup: Setup) -> str:
    known = (*BY_NAME, *MOTION)
    if name not in known:
        meant = get_close_matches(name, known, n=1)
        hint = f"did you mean {meant[0]}?" if meant else f"expected some of {', '.join(known)}"
        return f"--keys: read {name}, which no fit finds; {hint}"
    return _motion_fault(name, setup) if name in MOTION else _other_fault(name, setup)


def _other_fault(name: str, setup: Setup) -> str:
    if not _is_number(BY_NAME[name], setup):
        return f"--keys: read {name}, but the setup has no one number there; expected a key it has"
    if setup.acquisition.flat_field and name in ("light.edge_falloff", "camera.prnu"):
        return f"--keys: read {name}, but the setup's flat field takes it out of the picture"
    return ""


def _motion_fault(name: str, setup: Setup) -> str:
    if name == "transport.speed_ripple" and setup.transport.trigger == "encoder":
        return f"--keys: read {name}, but with an encoder a ripple leaves lines where they are"
    told = advance_key(setup)
    if name in MOTION[:3] and name != told:
        return f"--keys: read {name}, but lines of this setup lie by {told}; expected that"
    return ""


def _is_number(key: Key, setup: Setup) -> bool:
    found = key.read(setup)
    return isinstance(found, int | float) and not isinstance(found, OverField)
