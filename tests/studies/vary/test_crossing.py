"""Where a requirement begins and ceases to be met, found as a root."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.setup.arrays import FloatArray
from linesim.setup.load import sample_setup
from linesim.studies.batch.ranges import Range, ranges_of
from linesim.studies.vary.crossing import USUAL_COUNT, Margin, Span, shared, spans_on, tried_of

BASE = sample_setup()


def over(key: str, text: str) -> Range:
    """Read one range."""
    (found,) = ranges_of(BASE, {key: text})
    return found


def spans(among: Range, margin: Margin) -> tuple[Span, ...]:
    """Find the parts of a range in which a requirement is met."""
    tried = tried_of(among, USUAL_COUNT)
    return spans_on(among, (tried, margin(tried)), margin)


STOPS = over("lens.f_number", "1:16:log5")


def test_a_rising_figure() -> None:
    """x² − 50 is 0 at √50, between two values of the range; the end of the range is none."""
    (span,) = spans(STOPS, lambda x: x**2 - 50)
    # asked of the root: 1e-8 of the ends of its bracket
    assert_allclose(span.low, np.sqrt(50), rtol=4e-8)
    assert (span.high, span.begins, span.ends) == (16.0, True, False)


def test_a_falling_figure() -> None:
    """1/x − 1/3 is 0 at 3."""
    (span,) = spans(STOPS, lambda x: 1 / x - 1 / 3)
    assert_allclose(span.high, 3, rtol=4e-8)
    assert (span.low, span.begins, span.ends) == (1.0, False, True)


def test_a_figure_with_a_best_place_between_two_values() -> None:
    """1 − 40(ln x − ln 2.9)² is positive within exp(±√(1/40)) of 2.9; no value of the range is."""
    (span,) = spans(STOPS, lambda x: 1 - 40 * (np.log(x) - np.log(2.9)) ** 2)
    assert_allclose([span.low, span.high], 2.9 * np.exp([-(40**-0.5), 40**-0.5]), rtol=4e-8)
    assert (span.begins, span.ends) == (True, True)


def test_several_parts() -> None:
    """cos(x) from 1 to 16: positive up to π/2, from 3π/2 to 5π/2, and from 7π/2 to 9π/2."""
    found = spans(STOPS, np.cos)
    places = [(each.low, each.high) for each in found]
    half = np.pi / 2
    assert_allclose(places, [(1, half), (3 * half, 5 * half), (7 * half, 9 * half)], rtol=4e-8)


def test_never_and_always() -> None:
    """Nothing, or the whole range with no crossing at its ends."""
    assert spans(STOPS, lambda x: -x) == ()
    (span,) = spans(STOPS, lambda x: x)
    assert span == Span(low=1.0, high=16.0, begins=False, ends=False)


def test_a_jump() -> None:
    """A figure that jumps is met from the jump on, to the precision asked for."""
    (span,) = spans(STOPS, lambda x: np.where(x < 5.3, -1.0, 1.0))
    assert_allclose(span.low, 5.3, rtol=4e-8)


def test_no_value_is_not_met() -> None:
    """Where the margin is −1, as for a figure without a value, the requirement is missed."""
    (span,) = spans(STOPS, lambda x: np.where(x < 3, -1.0, x - 7))
    assert_allclose(span.low, 7, rtol=4e-8)


@pytest.mark.parametrize(("least", "low"), [(9.5, 10.0), (10.0, 10.0), (10.5, 11.0)])
def test_whole_numbers(least: float, low: float) -> None:
    """The first whole number that meets it, and the last."""
    stages = over("camera.tdi_stages", "1:64:log3")
    (span,) = spans(stages, lambda n: n - least)
    assert span.low == low
    (span,) = spans(stages, lambda n: least - n)
    assert span.high == np.floor(least)


def test_listed_values() -> None:
    """Between bit depths there is nothing: the first of those listed."""
    (span,) = spans(over("camera.bit_depth", "8,10,14"), lambda bits: bits - 9)
    assert (span.low, span.high) == (10.0, 14.0)


def test_many_values_make_no_dearer_net() -> None:
    """Of 10,000 values a hundred or so are looked at, and the crossing is as exact."""
    asked: list[int] = []

    def margin(x: FloatArray) -> FloatArray:
        asked.append(len(x))
        return x - 3.7

    (span,) = spans(over("lens.f_number", "1:16:log10000"), margin)
    assert_allclose(span.low, 3.7, rtol=4e-8)
    assert sum(asked) < 150


def test_what_two_requirements_share() -> None:
    """From 3 on and up to 8: from 3 to 8, and the ends say what they are."""
    some = (Span(low=3.0, high=16.0, begins=True, ends=False),)
    others = (Span(low=1.0, high=8.0, begins=False, ends=True),)
    assert shared(some, others) == (Span(low=3.0, high=8.0, begins=True, ends=True),)
    assert shared(some, (Span(low=1.0, high=2.0, begins=False, ends=True),)) == ()
