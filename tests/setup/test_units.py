"""Quantities at the door, against a library's own unit table, and against odd texts."""

from fractions import Fraction

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linesim.setup.quantity import ORDINARY, parse_quantity
from linesim.setup.units import asked_of_pint

SAME_TEXT = (
    ("60 m/min", "mm/s"),
    ("200 ft/min", "mm/s"),
    ("12.5 in/s", "mm/s"),
    ("3 km/h", "mm/s"),
    ("1.5 m/s", "mm/s"),
    ("2 cm/s", "mm/s"),
    ("7 yd/min", "mm/s"),
    ("4 m / min", "mm/s"),
    ("5 m*s^-1", "mm/s"),
    ("5 m·s⁻¹", "mm/s"),
    ("5 m s^-1", "mm/s"),
    ("7.5 um", "um"),
    ("7.5 µm", "um"),  # U+00B5, micro sign
    ("7.5 μm", "um"),  # U+03BC, small mu
    ("7.5 micrometer", "um"),
    ("850 nm", "nm"),
    ("0.85 um", "nm"),
    ("0.3 mm", "um"),
    ("3 thou", "um"),
    ("2 inch", "mm"),
    ("3 feet", "mm"),
    ("12 yard", "mm"),
    ("40 cm", "mm"),
    (".5 dm", "mm"),
    ("3. m", "mm"),
    ("1e-3 m", "mm"),
    ("8 kHz", "Hz"),
    ("0.002 MHz", "Hz"),
    ("13333 1/s", "Hz"),
    ("8 1/ms", "Hz"),
    ("480000 1/min", "Hz"),
    ("100 us", "us"),
    ("0.1 ms", "us"),
    ("2 min", "us"),
    ("1 hour", "us"),
    ("40 klx", "lx"),
    ("120 W/m^2", "W/m^2"),
    ("120 W/m²", "W/m^2"),
    ("120 W/m**2", "W/m^2"),
    ("12 mW/cm^2", "W/m^2"),
    ("12 µW/mm²", "W/m^2"),
    ("120 W*m^-2", "W/m^2"),
    ("120 W m⁻²", "W/m^2"),
    ("5 deg", "deg"),
    ("5 °", "deg"),
    ("0.1 rad", "deg"),
    ("30 arcmin", "deg"),
    ("110 MB/s", "MB/s"),
    ("6.25 Gbit/s", "MB/s"),
    ("-0.5 mm", "mm"),
    ("+0.5 mm", "mm"),
)
OTHER_TEXT = (
    # the default table calls these by other names, or counts without a unit
    ("8000 lines/s", "Hz", "8000 / second"),
    ("8 line/ms", "Hz", "8 / millisecond"),
    ("3 mil", "um", "3 thou"),
    ("1000 fc", "lx", "1000 lumen / foot ** 2"),
    ("1 footcandle", "lx", "1 lumen / foot ** 2"),
)


@pytest.fixture(scope="module")
def default() -> "pint.UnitRegistry[float]":
    """Pint's own registry, with the unit table its authors keep."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    return registry


def _by_default(registry: "pint.UnitRegistry[float]", text: str, into: str) -> float:
    return float(registry.Quantity(text).to(into).magnitude)


@pytest.mark.parametrize(("text", "into"), SAME_TEXT)
def test_units_agree_with_the_default_table(
    default: "pint.UnitRegistry[float]", text: str, into: str
) -> None:
    """
    The same text gives the same number as pint's default unit table.

    That table multiplies in floats: some ten roundings, each of half an epsilon.
    """
    want = _by_default(default, text, into)
    assert parse_quantity(text, into) == pytest.approx(want, rel=5 * 2.0**-52, abs=0)


@pytest.mark.parametrize(("text", "into", "otherwise"), OTHER_TEXT)
def test_trade_units_agree_with_the_default_table(
    default: "pint.UnitRegistry[float]", text: str, into: str, otherwise: str
) -> None:
    """Units that the default table lacks equal what they stand for in it."""
    want = _by_default(default, otherwise, into)
    assert parse_quantity(text, into) == pytest.approx(want, rel=5 * 2.0**-52, abs=0)


@pytest.mark.parametrize("kind", ORDINARY, ids=lambda kind: next(iter(kind)))
def test_ordinary_units_are_those_of_the_table(kind: dict[str, str]) -> None:
    """What is looked up is what pint works out of ``units.txt``, to the last digit, both ways."""
    for unit, one in kind.items():
        for into, other in kind.items():
            assert asked_of_pint(unit, into) == Fraction(one) / Fraction(other), (unit, into)


@pytest.mark.parametrize(
    ("text", "into", "exact"),
    [
        # inch = 25.4 mm and foot = 304.8 mm exactly: international yard and pound agreement, 1959
        ("60 m/min", "mm/s", 1000.0),
        ("200 ft/min", "mm/s", 1016.0),
        ("10 in/s", "mm/s", 254.0),
        ("1 mil", "um", 25.4),
        ("1 yd", "mm", 914.4),
        ("7.5 um", "um", 7.5),
        ("40 klx", "lx", 40_000.0),
        ("40 ke", "e", 40_000.0),
        ("8 kHz", "Hz", 8000.0),
        ("0.1 DN/e", "DN/e", 0.1),
        ("8 Gbit/s", "MB/s", 1000.0),  # 8 bit a byte, decimal prefixes (IEC 80000-13)
        ("1 MB/s", "MB/s", 1.0),
        ("500 e/s", "e/s", 500.0),
        ("0 mm", "mm", 0.0),
        ("-0.0 mm", "mm", 0.0),
    ],
)
def test_plain_factors_are_exact(text: str, into: str, exact: float) -> None:
    """A factor that is a round number loses nothing to rounding."""
    assert parse_quantity(text, into) == exact


@pytest.mark.parametrize(
    "text", ["12 e", "12 e-", "12 e⁻", "12 e−", "12e", "0.012 ke", "0.012 ke-", "12 electron"]
)
def test_electrons_may_carry_their_sign(text: str) -> None:
    """Data sheets write e, e- and e⁻; all are electrons."""
    assert parse_quantity(text, "e") == 12.0


@pytest.mark.parametrize("text", ["0.1 DN/e-", "0.1 DN/e⁻", "0.1 DN/e", "0.1 DN e⁻¹"])
def test_the_electron_sign_may_stand_below(text: str) -> None:
    """The sign of the electron is no minus and no power."""
    assert parse_quantity(text, "DN/e") == 0.1


def test_the_electron_sign_may_stand_in_front_of_a_slash() -> None:
    """A dark current in e-/s is one in e/s."""
    assert parse_quantity("500 e-/s", "e/s") == 500.0


FACTORS = {
    # exact by definition: SI brochure, 9th ed.; yard and pound agreement, 1959
    ("m/min", "mm/s"): Fraction(1000, 60),
    ("ft/min", "mm/s"): Fraction(3048, 600),
    ("in", "um"): Fraction(25400),
    ("km/h", "mm/s"): Fraction(1_000_000, 3600),
    ("kHz", "Hz"): Fraction(1000),
    ("ms", "us"): Fraction(1000),
    ("mW/cm^2", "W/m^2"): Fraction(10),
    ("ke", "e"): Fraction(1000),
    ("Mbit/s", "MB/s"): Fraction(1, 8),
}
DIGITS = st.text("0123456789", min_size=1, max_size=12)
NUMBERS = st.builds(
    lambda sign, whole, part, power: f"{sign}{whole}.{part}e{power}",
    st.sampled_from(["", "+", "-"]),
    DIGITS,
    DIGITS,
    st.integers(-30, 30),
)


@settings(deadline=None, derandomize=True, max_examples=max(60, settings().max_examples))
@given(number=NUMBERS, units=st.sampled_from(sorted(FACTORS)), gap=st.sampled_from(["", " ", "  "]))
def test_any_number_is_rounded_once(number: str, units: tuple[str, str], gap: str) -> None:
    """Whatever the digits, the answer is the exact product, rounded to the nearest float."""
    unit, into = units
    got = parse_quantity(f"{number}{gap}{unit}", into)
    assert got == float(Fraction(number) * FACTORS[units])


@settings(deadline=None, derandomize=True, max_examples=max(60, settings().max_examples))
@given(
    value=st.floats(1e-9, 1e9).flatmap(lambda x: st.sampled_from([x, -x])),
    units=st.sampled_from([*sorted(FACTORS), ("rad", "deg"), ("fc", "lx"), ("yd", "mm")]),
)
def test_there_and_back(value: float, units: tuple[str, str]) -> None:
    """
    Into another unit and back gives the number again.

    Four roundings on the way, of half an epsilon each: two numbers to text, two texts to numbers.
    """
    unit, into = units
    there = parse_quantity(f"{value!r} {unit}", into)
    assert parse_quantity(f"{there!r} {into}", unit) == pytest.approx(value, rel=2.0**-51, abs=0)


def test_pint_alone_would_drop_a_decimal_comma(default: "pint.UnitRegistry[float]") -> None:
    """What the refusal of commas guards from: pint reads 7,5 as 75."""
    assert default.Quantity("7,5 um") == default.Quantity("75 um")
