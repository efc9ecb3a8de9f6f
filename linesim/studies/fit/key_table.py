"""
What can be fitted to captures: keys, and for each the variable in which captures tell it evenly.

Spreads are fitted by their squares, since squares are what adds up: a blur, a noise, a distance
from best focus, of which an image does not tell the sign. What multiplies the signal is fitted by
its logarithm, since products of such keys are what captures tell best. All else as it stands.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from math import exp, log
from operator import attrgetter
from typing import Literal

from linesim.forward.geometry import geometry
from linesim.forward.lens import optics
from linesim.setup.errors import InputError
from linesim.setup.lens.over_field import OverField
from linesim.setup.setup import Setup

_LEAST, _PART = 1e-12, 0.005
_BLUR_PX, _DISC_PX, _DARK_E = 0.02, 0.2, 0.1
"""Steps by which the model is moved to see what a key does; our choice."""
_BEHIND = {
    "lx": "_lx",
    "W/m^2": "_w_m2",
    "DN": "_dn",
    "e": "_e",
    "e/s": "_e_s",
    "um": "_um",
    "mm": "_mm",
    "": "",
}
"""What stands behind the name of a field, by its unit."""
InSetup = float | Callable[[Setup], float]
"""A number, or what it is in a setup."""


def in_setup(value: InSetup, setup: Setup) -> float:
    """Give a number as it is in a setup."""
    return value(setup) if callable(value) else value


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key that a fit can find."""

    name: str  # as in a setup file, with its table
    unit: str  # in which it is read and written; empty for plain numbers
    # the smallest change worth a look in a setup, in the key's unit; of a ratio the relative one
    step: InSetup
    fine: InSetup = 0.0  # a value of which half is always known well enough, in the key's unit
    # "square" where its square is fitted, "ratio" where its logarithm is
    form: Literal["straight", "square", "ratio"] = "straight"
    low: float = 0.0
    high: float = 1e12
    sharp: bool = False  # whether it changes the picture's sharpness, which takes another rendering
    # whether its variable's error grows with it, as that of a few columns' spread does
    scales: bool = False
    place: str = ""  # where a setup has it, if not under its name and unit

    def read(self, setup: Setup) -> object:
        """Give its value in a setup; None or values over the field are refused."""
        return attrgetter(self.place or f"{self.name}{_BEHIND[self.unit]}")(setup)

    def value(self, setup: Setup) -> float:
        """Give the value in a setup, in the key's unit."""
        return float(self.read(setup))  # type: ignore[arg-type] # refused where it is no number

    def variable(self, value: float) -> float:
        """Give the variable that is fitted."""
        if self.form == "ratio":
            return log(max(value, _LEAST))
        return value**2 if self.form == "square" else value

    def of_variable(self, variable: float) -> float:
        """Undo `variable`, kept in the key's range."""
        value = variable
        if self.form == "ratio":
            value = exp(variable)
        elif self.form == "square":
            value = max(variable, 0.0) ** 0.5
        return min(max(value, self.low), self.high)

    def text(self, variable: float) -> object:
        """Write a variable as `changed` takes it."""
        value = self.of_variable(variable)
        return (value, self.unit) if self.unit else value

    def moved(self, variable: float, setup: Setup) -> float:
        """Give the step of the variable that is worth a look."""
        step = in_setup(self.step, setup)
        return step**2 + _PART * variable if self.form == "square" else step

    def most(self, variable: float, setup: Setup) -> float:
        """Give how far one step of a fit may move the variable."""
        if self.form == "ratio":
            return log(2)
        if self.form == "square":
            return 3 * variable + 500 * self.moved(0.0, setup)
        return 1e5 * in_setup(self.step, setup)


def _disc_mm(setup: Setup) -> float:
    """Give the defocus whose disc has a part of a pixel across. [mm]."""
    lens = optics(setup)
    disc_um = _DISC_PX * setup.camera.pixel_width_um
    return float(disc_um * lens.working_f_number / lens.magnification**2 / 1000)


def _dark_e_s(setup: Setup) -> float:
    """Give the dark current of one electron in a full exposure at the matched rate. [e/s]."""
    return _DARK_E * float(geometry(setup).matched_line_rate_hz)


def _blur_um(setup: Setup) -> float:
    """Give a blur of a small part of a pixel. [µm]."""
    return _BLUR_PX * setup.camera.pixel_width_um


def _five_blurs_um(setup: Setup) -> float:
    return 5 * _BLUR_PX * setup.camera.pixel_width_um


def _percent_dn(setup: Setup) -> float:
    return 0.01 * setup.full_scale_dn


def _ratio(name: str, unit: str, high: float, low: float = 0.0, step: float = 1e-4) -> Key:
    """Make a key that multiplies the signal."""
    return Key(name=name, unit=unit, step=step, form="ratio", low=low, high=high)


def _spread(name: str, unit: str, step: InSetup, fine: InSetup, high: float) -> Key:
    """Make a key that adds to others by its square."""
    return Key(name=name, unit=unit, step=step, fine=fine, form="square", high=high)


_BLURS = [
    replace(_spread(f"lens.{name}", "um", _blur_um, _five_blurs_um, 1e4), sharp=True)
    for name in ("blur", "blur_across", "blur_along")
]
ADJUSTED = (
    _ratio("light.illuminance", "lx", 1e9),
    _ratio("light.irradiance", "W/m^2", 1e7),
    replace(_ratio("camera.gain", "DN/e", 1e6, low=1e-9), place="gain_dn_e"),
    Key(name="camera.black_level", unit="DN", step=0.01, fine=_percent_dn, high=65_000.0),
    _spread("camera.read_noise", "e", 1.0, 2.0, 1e6),
    *_BLURS,
    replace(_spread("lens.defocus", "mm", _disc_mm, _disc_mm, 1e4), sharp=True),
    replace(_ratio("lens.f_number", "", 256.0, low=0.5, step=5e-4), sharp=True),
    _ratio("lens.transmission", "", 1.0),
    Key(name="light.edge_falloff", unit="", step=1e-3, fine=0.02, high=1.0),
    _ratio("camera.quantum_efficiency", "", 1.0),
    replace(_spread("camera.prnu", "", 3e-4, 1e-3, 0.5), scales=True),
    replace(_spread("camera.dsnu", "e", 0.3, 1.0, 1e6), scales=True),
    Key(name="camera.dark_current", unit="e/s", step=_dark_e_s, fine=_dark_e_s),
)
"""Keys that are moved until the model fits, in the order in which they are told."""
BY_NAME = {each.name: each for each in ADJUSTED}
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
    expected = advance_key(setup)
    if name in MOTION[:3] and name != expected:
        return f"--keys: read {name}, but lines of this setup lie by {expected}; expected that"
    return ""


def _is_number(key: Key, setup: Setup) -> bool:
    found = key.read(setup)
    return isinstance(found, int | float) and not isinstance(found, OverField)
