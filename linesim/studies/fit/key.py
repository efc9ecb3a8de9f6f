"""One key that a fit can find, and the variable in which captures tell it evenly."""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log
from typing import Literal

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
