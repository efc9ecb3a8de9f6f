"""Ranges of a key: which values, in which units, and what is refused."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.setup.errors import InputError
from linesim.setup.light.ambient import Ambient
from linesim.setup.load import changed, sample_setup
from linesim.studies.batch.ranges import Range, ranges_of, short, split_ranges

BASE = sample_setup()


def one(key: str, text: str) -> Range:
    """Read one range."""
    (found,) = ranges_of(BASE, {key: text})
    return found


def test_equal_ratios() -> None:
    """Five values from 1 to 16: a factor of two each, ends exact."""
    found = one("lens.f_number", "1:16:log5")
    assert_allclose(found.values, [1, 2, 4, 8, 16], rtol=1e-14)
    assert (found.values[0], found.values[-1], found.log) == (1.0, 16.0, True)


def test_equal_steps() -> None:
    """Downwards or upwards, values rise."""
    found = one("lens.defocus", "2mm:-2mm:lin5")
    assert (found.values, found.log) == ((-2.0, -1.0, 0.0, 1.0, 2.0), False)


def test_values_in_two_units() -> None:
    """As the user wrote them, and in the door's: 1 klx is 1000 lx, 1 m/min is 1000/60 mm/s."""
    light, speed = one("light.illuminance", "5klx:20klx:log3"), one("transport.speed", "60 m/min")
    assert_allclose(light.base_values, [5000, 10000, 20000], rtol=1e-14)
    assert_allclose(light.values, [5, 10, 20], rtol=1e-14)
    assert (light.name, light.said(18461.5)) == ("light.illuminance [klx]", "18.5 klx")
    assert speed.base_values == (1000.0,)
    assert_allclose(speed.values, [60], rtol=1e-14)


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("light.illuminance", "5klx:200klx:log7"),
        ("transport.speed", "37 ft/min:90 m/min:lin5"),
        ("camera.read_noise", "2e,7e"),
        ("camera.black_level", "0:64:lin3"),
        ("lens.magnification", "0.01:0.3:log4"),
        ("camera.tdi_stages", "1:64:log7"),
        ("camera.bit_depth", "8,12"),
        ("camera.quantum_efficiency", "0.3:0.9:lin3"),
        ("light.ambient", "0lx:500lx:lin3"),
        ("light.ambient", "1W/m^2,2W/m^2"),
        ("requirement.snr", "10:40:lin4"),
    ],
)
def test_written_values_come_back_through_the_door(key: str, text: str) -> None:
    """What a point has behind the door is what the door makes of the written value, to the bit."""
    found = one(key, text)
    for value in found.base_values:
        made = changed(BASE, {key: found.written(value)})
        there = getattr(getattr(made, found.key.section), found.key.field)
        assert there == found.inside(value)
        assert type(there) is type(found.inside(value))


def test_whole_numbers_stay_whole() -> None:
    """Values between are rounded, each kept once; 1 to 4 in ten steps are four numbers."""
    assert one("camera.tdi_stages", "1:4:lin10").base_values == (1, 2, 3, 4)


def test_ambient_light_in_either_unit() -> None:
    """Lux or watts a square metre, told by the unit."""
    lux, watts = one("light.ambient", "0lx,500lx"), one("light.ambient", "2W/m^2")
    assert lux.inside(500.0) == Ambient(500.0, 0.0)
    assert watts.inside(2.0) == Ambient(0.0, 2.0)


def test_lists_say_how_they_are_spread() -> None:
    """Stops are even by their ratios, steps by their differences."""
    assert one("lens.f_number", "2.8,4,5.6,8,11").log
    assert not one("lens.f_number", "2,3,4,5").log
    assert one("lens.f_number", "8,2,4").values == (2.0, 4.0, 8.0)


@pytest.mark.parametrize(
    ("number", "said"), [(18.461, "18.5"), (74123.0, "74100"), (0.07707, "0.0771"), (4.0, "4")]
)
def test_short_numbers(number: float, said: str) -> None:
    """Three digits, as people say them."""
    assert short(number) == said


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        ({"light.iluminance": "1lx:2lx:lin2"}, "did you mean light.illuminance?"),
        ({"illuminance": "1lx:2lx:lin2"}, "did you mean light.illuminance?"),
        ({"light": "1"}, "this is no table"),
        ({"title": "1,2"}, "title: .*takes a text, which has no range"),
        ({"acquisition.binning": "1x1,2x2"}, "takes pixels across x pixels along"),
        ({"target.repeat": "0,1"}, "takes true or false"),
        ({"light.spectrum": "A,D65"}, "which has no range"),
        ({"light.illuminance": "1mm:2mm:lin2"}, "mm is a unit of another kind"),
        ({"light.illuminance": "5:200klx:log3"}, 'read "5", but the unit is missing'),
        ({"camera.pixel_width": "7,5um"}, 'read "7", but the unit is missing'),
        ({"lens.f_number": "0.1:22:log5"}, "this is outside 0.5 to 256"),
        ({"lens.f_number": "2:300:log5"}, "this is outside 0.5 to 256"),
        ({"lens.f_number": "two"}, "a bare number is due"),
        ({"lens.f_number": "2:8"}, "this is no range"),
        ({"lens.f_number": "2:8:cub5"}, "this is no range"),
        ({"lens.f_number": "2:8:lin1"}, "fewer values than ends"),
        ({"lens.f_number": "4:4:lin3"}, "start and stop are equal"),
        ({"lens.f_number": "2:8:lin999999999"}, "more than 100000 values"),
        ({"camera.read_noise": "0e:10e:log5"}, "expected lin, not log"),
        ({"camera.bit_depth": "8:12:lin3"}, "nothing lies between"),
        ({"camera.bit_depth": "9,11"}, "not among the values allowed"),
        ({"camera.tdi_stages": "1.5"}, "not a whole number"),
        ({"acquisition.line_rate": "matched"}, "a range takes numbers alone"),
        ({"light.ambient": "1lx,2W/m^2"}, "units of two kinds"),
        ({"lens.f_number": "2:8:lin400", "camera.prnu": "0:0.1:lin400"}, "read 160000 points"),
        ({}, "nothing was read"),
        ({"lens.f_number": "2", "camera.prnu": "0", "camera.dsnu": "0e"}, "read 3 keys"),
    ],
)
def test_refusals(texts: dict[str, str], told: str) -> None:
    """One sentence that says what was read and what is expected."""
    with pytest.raises(InputError, match=told) as refusal:
        ranges_of(BASE, texts)
    assert len(refusal.value.faults) == 1


def test_words_of_the_command_line() -> None:
    """A key and its range, parted at the first sign of equality; blanks do no harm."""
    assert split_ranges(["lens.f_number = 2,4"]) == {"lens.f_number": "2,4"}
    for words, told in ((["lens.f_number"], "but expected KEY="), (["a=1", "a=2"], "two ranges")):
        with pytest.raises(InputError, match=told):
            split_ranges(words)


def test_many_values_are_spread_exactly() -> None:
    """The law of a geometric row holds for each of 10,000 values."""
    values = np.array(one("light.illuminance", "5klx:200klx:log10000").base_values)
    # each value is rounded once or twice: a few units in the last place
    assert_allclose(values, 5000 * 40 ** (np.arange(10000) / 9999), rtol=1e-13)
