"""Factors between units that pint works out of ``units.txt``."""

import re
from fractions import Fraction
from functools import cache
from importlib.resources import files

import pint

# names with small powers, parted by one mark each: pint alone would also take "m//s", "m/0" and
# towers of powers that never end
_POWER = r"(?:(?:\^|\*\*)[+-]?[1-9]|[⁺⁻]?[¹²³⁴⁵⁶⁷⁸⁹])?"
_NAME = rf"(?:[^\W\d_¹²³⁴⁵⁶⁷⁸⁹⁰]+|°){_POWER}"
_UNIT = re.compile(rf"(?:1 ?/ ?)?{_NAME}(?:(?: ?[/*·] ?| ){_NAME})*")


@cache
def _registry() -> "pint.UnitRegistry[Fraction]":
    """Load the units of ``units.txt``; fractions keep 60 m/min at exactly 1000 mm/s."""
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(None, non_int_type=Fraction)
    text = files("linesim.setup.units").joinpath("units.txt").read_text("utf-8")
    registry.load_definitions(text.splitlines())
    return registry


def asked_of_pint(unit: str, into: str) -> Fraction:
    """Let pint work out a factor, of any units that ``units.txt`` defines."""
    try:
        if not _UNIT.fullmatch(unit):
            raise pint.UndefinedUnitError(unit)
        return Fraction(_registry().Quantity(1, _registry().parse_units(unit)).to(into).magnitude)
    except pint.DimensionalityError:
        msg = f"{unit} is a unit of another kind"
        raise ValueError(msg) from None
    except (pint.PintError, AssertionError, AttributeError, TypeError, ValueError, SyntaxError):
        # pint reports a text that is no unit in any of these ways
        msg = f"{unit} is not a unit known here"
        raise ValueError(msg) from None
