"""
What can be fitted to captures: keys, and for each the variable in which captures tell it evenly.

Spreads are fitted by their squares, since squares are what adds up: a blur, a noise, a distance
from best focus, of which an image does not tell the sign. What multiplies the signal is fitted by
its logarithm, since products of such keys are what captures tell best. All else as it stands.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log
from typing import Literal

from linesim.forward.geometry import geometry
from linesim.forward.lens import optics
from linesim.setup.setup import Setup

_LEAST, _PART = 1e-12, 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key that a fit can find."""

    name: str  # as in a setup file, with its table
    unit: str  # in which it is read and written; empty for plain numbers
    # gives its value in a setup; None or values over the field are refused
    read: Callable[[Setup], object]
    # gives the smallest change worth a look in a setup, in the key's unit; of a ratio the relative
    # one
    step: Callable[[Setup], float]
    # gives a value of which half is always known well enough, in the key's unit
    fine: Callable[[Setup], float] = lambda _: 0.0
    # "square" where its square is fitted, "ratio" where its logarithm is
    form: Literal["straight", "square", "ratio"] = "straight"
    low: float = 0.0
    high: float = 1e12
    sharp: bool = False  # whether it changes the picture's sharpness, which takes another rendering
    # whether its variable's error grows with it, as that of a few columns' spread does
    scales: bool = False

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
        step = self.step(setup)
        return step**2 + _PART * variable if self.form == "square" else step

    def most(self, variable: float, setup: Setup) -> float:
        """Give how far one step of a fit may move the variable."""
        if self.form == "ratio":
            return log(2)
        if self.form == "square":
            return 3 * variable + 500 * self.moved(0.0, setup)
        return 1e5 * self.step(setup)


_BLUR_PX, _DISC_PX, _DARK_E = 0.02, 0.2, 0.1
"""Steps by which the model is moved to see what a key does; our choice."""


def _disc_mm(setup: Setup) -> float:
    """Give the defocus whose disc has a part of a pixel across. [mm]."""
    lens = optics(setup)
    disc_um = _DISC_PX * setup.camera.pixel_width_um
    return float(disc_um * lens.working_f_number / lens.magnification**2 / 1000)


def _dark_e_s(setup: Setup) -> float:
    """Give the dark current of one electron in a full exposure at the matched rate. [e/s]."""
    return _DARK_E * float(geometry(setup).matched_line_rate_hz)


def _blur(name: str) -> Key:
    return Key(
        name=f"lens.{name}",
        unit="um",
        read=lambda setup: getattr(setup.lens, f"{name}_um"),
        step=lambda setup: _BLUR_PX * setup.camera.pixel_width_um,
        fine=lambda setup: 5 * _BLUR_PX * setup.camera.pixel_width_um,
        form="square",
        high=1e4,
        sharp=True,
    )


ADJUSTED = (
    Key(
        name="light.illuminance",
        unit="lx",
        read=lambda setup: setup.light.illuminance_lx,
        step=lambda _: 1e-4,
        form="ratio",
        high=1e9,
    ),
    Key(
        name="light.irradiance",
        unit="W/m^2",
        read=lambda setup: setup.light.irradiance_w_m2,
        step=lambda _: 1e-4,
        form="ratio",
        high=1e7,
    ),
    Key(
        name="camera.gain",
        unit="DN/e",
        read=lambda setup: setup.gain_dn_e,
        step=lambda _: 1e-4,
        form="ratio",
        low=1e-9,
        high=1e6,
    ),
    Key(
        name="camera.black_level",
        unit="DN",
        read=lambda setup: setup.camera.black_level_dn,
        step=lambda _: 0.01,
        fine=lambda setup: 0.01 * setup.full_scale_dn,
        high=65_000.0,
    ),
    Key(
        name="camera.read_noise",
        unit="e",
        read=lambda setup: setup.camera.read_noise_e,
        step=lambda _: 1.0,
        fine=lambda _: 2.0,
        form="square",
        high=1e6,
    ),
    _blur("blur"),
    _blur("blur_across"),
    _blur("blur_along"),
    Key(
        name="lens.defocus",
        unit="mm",
        read=lambda setup: setup.lens.defocus_mm,
        step=_disc_mm,
        fine=_disc_mm,
        form="square",
        high=1e4,
        sharp=True,
    ),
    Key(
        name="lens.f_number",
        unit="",
        read=lambda setup: setup.lens.f_number,
        step=lambda _: 5e-4,
        form="ratio",
        low=0.5,
        high=256.0,
        sharp=True,
    ),
    Key(
        name="lens.transmission",
        unit="",
        read=lambda setup: setup.lens.transmission,
        step=lambda _: 1e-4,
        form="ratio",
        high=1.0,
    ),
    Key(
        name="light.edge_falloff",
        unit="",
        read=lambda setup: setup.light.edge_falloff,
        step=lambda _: 1e-3,
        fine=lambda _: 0.02,
        high=1.0,
    ),
    Key(
        name="camera.quantum_efficiency",
        unit="",
        read=lambda setup: setup.camera.quantum_efficiency,
        step=lambda _: 1e-4,
        form="ratio",
        high=1.0,
    ),
    Key(
        name="camera.prnu",
        unit="",
        read=lambda setup: setup.camera.prnu,
        step=lambda _: 3e-4,
        scales=True,
        fine=lambda _: 1e-3,
        form="square",
        high=0.5,
    ),
    Key(
        name="camera.dsnu",
        unit="e",
        read=lambda setup: setup.camera.dsnu_e,
        step=lambda _: 0.3,
        scales=True,
        fine=lambda _: 1.0,
        form="square",
        high=1e6,
    ),
    Key(
        name="camera.dark_current",
        unit="e/s",
        read=lambda setup: setup.camera.dark_current_e_s,
        step=_dark_e_s,
        fine=_dark_e_s,
    ),
)
"""Keys that are moved until the model fits, in the order in which they are told."""
BY_NAME = {each.name: each for each in ADJUSTED}
