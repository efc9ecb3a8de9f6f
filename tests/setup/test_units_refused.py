"""Texts that are no quantity are refused, each with its reason, and never by a traceback."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linesim.setup.quantity import parse_quantity

REFUSED = (
    ("7,5 um", "um", "write a point"),
    ("1,000 m/min", "mm/s", "write a point"),
    ("1.000,5 m/min", "mm/s", "write a point"),
    ("60", "mm/s", "unit is missing"),
    ("60 ", "mm/s", "unit is missing"),
    ("", "mm/s", "not a number"),
    ("   ", "mm/s", "not a number"),
    ("m/min", "mm/s", "not a number"),
    ("nan m/min", "mm/s", "not a number"),
    ("NaN", "mm/s", "not a number"),
    ("inf m/min", "mm/s", "not a number"),
    ("-inf m/min", "mm/s", "not a number"),
    ("1e400 m/min", "mm/s", "physical range"),
    ("-1e400 m/min", "mm/s", "physical range"),
    ("1e999999999 m/min", "mm/s", "physical range"),  # as a fraction: a billion digits
    ("--5 m", "mm", "not a number"),
    ("+-5 m", "mm", "not a number"),
    ("5 5 m", "mm", "not a unit"),
    ("5 - 3 m", "mm", "not a unit"),
    ("5 m + 3 m", "mm", "not a unit"),
    ("1/2 m", "mm", "not a unit"),
    ("0x10 m", "mm", "not a unit"),
    ("1_000 m", "mm", "not a unit"),
    ("5 m//s", "mm/s", "not a unit"),
    ("5 m/0", "mm", "not a unit"),
    ("5 m/s/", "mm/s", "not a unit"),
    ("5 (m/s)", "mm/s", "not a unit"),
    ("5 m**9**9**9**9", "mm", "not a unit"),
    ("5 m^99999999", "mm", "not a unit"),
    ("5 m\0", "mm", "not a unit"),
    ("5 \u200bm", "mm", "not a unit"),  # a space without width
    ("5 pm", "mm", "not a unit"),  # no picometres at a station; p is no prefix here
    ("5 parsec", "mm", "not a unit"),
    ("5 %", "mm", "not a unit"),
    ("5 M/min", "mm/s", "not a unit"),
    ("__import__('os')", "mm", "not a number"),
    ("5 __import__('os')", "mm", "not a unit"),
    ("5 m" + "m" * 60, "mm", "not a number"),
    ("9" * 100_000 + " m", "mm", "not a number"),
    ("60 mm", "mm/s", "another kind"),
    ("60 kHz", "mm/s", "another kind"),
    ("1 mm/s", "Hz", "another kind"),
    ("40 klx", "W/m^2", "another kind"),
    ("120 W/m^2", "lx", "another kind"),
    ("12 DN", "e", "another kind"),
    ("2 e/DN", "DN/e", "another kind"),
    ("110 Mbit", "MB/s", "another kind"),
    ("5 deg", "mm", "another kind"),
    ("12 e", "Hz", "another kind"),
)


@pytest.mark.parametrize(("text", "into", "says"), REFUSED, ids=lambda part: repr(part)[:30])
def test_refused_with_the_reason(text: str, into: str, says: str) -> None:
    """What is no quantity of the right kind raises ValueError, at once, and says why."""
    with pytest.raises(ValueError, match=says) as refusal:
        parse_quantity(text, into)
    assert type(refusal.value) is ValueError  # not a class of its own that says more to a program


def _outcome(text: str, into: str) -> float | str:
    """Give what was read, or the reason why not."""
    try:
        return parse_quantity(text, into)
    except ValueError as refusal:
        return str(refusal)


@settings(deadline=None, derandomize=True, max_examples=max(60, settings().max_examples))
@given(st.text(max_size=70))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text brings down the reader: a finite number, or a ValueError with a reason."""
    found = _outcome(text, "mm")
    assert found if isinstance(found, str) else abs(found) < 1e200


@settings(deadline=None, derandomize=True, max_examples=max(60, settings().max_examples))
@given(st.text("0123456789 eE+-.,/*^()mskHzDNuµ²⁻°%", max_size=30))
def test_any_text_of_the_trade_is_read_or_refused(text: str) -> None:
    """The same, with the signs that quantities are made of."""
    found = _outcome(f"1{text}", "um")
    assert found if isinstance(found, str) else abs(found) < 1e200
