"""Figures of a data sheet that contradict each other, or cannot be: one sentence each."""

from typing import Any

import pytest

from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup, setup_from

Changes = dict[str, Any]
GREEN = {"value": "25 DN/(nJ/cm^2)", "wavelength": "550 nm"}
AMPERES = {"value": "0.30 A/W", "wavelength": "620 nm"}
COLOUR = {"camera.kind": "prism"}

REFUSED: list[tuple[Changes, str]] = [
    ({"camera.full_well": "30 ke", "camera.dynamic_range": "66 dB", "camera.read_noise": "8 e"},
     'read "8 e", but camera.full_well "30 ke" and camera.dynamic_range "66 dB" give 15 e'),
    ({"camera.responsivity": AMPERES, "camera.quantum_efficiency": 0.7},
     'read 0.7, but camera.responsivity { value = "0.30 A/W", wavelength = "620 nm" } gives 0.6'),
    ({"camera.responsivity": AMPERES, "camera.quantum_efficiency": [["1 um", 0], ["2 um", 1]]},
     "camera.responsivity is given too; leave one of the two out"),
    ({"camera.saturation_capacity": "30 ke", "camera.full_well": "30 ke"},
     "camera.saturation_capacity, camera.full_well: read"),
    ({"camera.dynamic_range": "66 dB", "camera.dynamic_range_1288": "66 dB"},
     "but only one of the two can hold; leave one out"),
    ({"camera.dynamic_range_1288": "90 dB"},
     "that is a threshold of 1.26 e, which shot noise and rounding alone exceed"),
    ({"camera.dynamic_range": "2000"}, "the unit is missing; expected a dynamic range"),
    ({"camera.dynamic_range": "1:2000"}, "this is no ratio to 1"),
    ({"camera.dynamic_range": 0.5}, "this is outside 1 to 1e+09"),
    ({"camera.read_noise": "0.3 DN"}, "under 0.49 DN rounding hides it; expected electrons"),
    ({"camera.gain": "0 e/DN"}, "0 e/DN is outside 1e-06 to 1e+09 e/DN"),
    ({"camera.gain": "4 DN"}, "DN is a unit of another kind"),
    ({"camera.responsivity": {**GREEN, "value": "2500 DN/(nJ/cm^2)"}},
     "that is a quantum efficiency of 15.8; expected at most 1"),
    ({"camera.responsivity": {"value": "0.3 A/W"}}, "camera.responsivity.wavelength: nothing was"),
    ({"camera.responsivity": "25 DN/photon"}, "no table { value, wavelength } and no list"),
    ({"camera.responsivity": {**GREEN, "value": "25 DN/(lx*s)"}},
     "camera.responsivity.value: read"),
    ({"camera.responsivity": GREEN, "camera.tdi_stages": 8}, "that of all stages"),
    ({"camera.responsivity": {"red": GREEN, "green": GREEN, "blue": GREEN}}, "one a colour"),
    ({**COLOUR, "camera.responsivity": {"red": GREEN, "blue": GREEN}},
     "camera.responsivity.green: nothing was read"),
    ({"camera.quantum_efficiency": [["550 nm", 0.6]]}, "at least two pairs"),
    ({"camera.quantum_efficiency": [["550 nm", 0.6], ["550 nm", 0.5]]}, "550 nm stands twice"),
    ({"camera.quantum_efficiency": [["green", 0.6], ["550 nm", 0.5]]}, "of a wavelength"),
    ({"camera.quantum_efficiency": [["500 nm", 1.2], ["550 nm", 0.5]]}, "outside 0 to 1"),
    ({"camera.pixel_format": "Mono12q"}, "no pixel format here has that name; expected"),
    ({"camera.pixel_format": "Mono8"}, 'read "Mono8", which has 8 bits, but camera.bit_depth'),
    ({"camera.pixel_format": "RGB12p"}, "expected one that starts with Mono"),
    ({**COLOUR, "camera.pixel_format": "Mono12"}, "expected one that starts with RGB"),
    ({"lens.transmission": "T 2"}, 'lens.transmission: read "T 2", but this is less than'),
    ({"lens.transmission": "150 %"}, "this is outside 0 to 1"),
    ({"lens.transmission": "55,5 %"}, "a comma is not read as a decimal mark"),
    ({"camera.prnu_1288": "99 %"}, 'camera.prnu_1288: read "99 %", but this is outside 0 to 0.9'),
    ({"camera.tdi_stages": "50 %"}, "a bare whole number is due"),
    ({"lens.f_number": "50 %"}, "a bare number is due"),
    ({"target.pixel_size": "0 dpi"}, "0 dpi is outside 0.0254 to 2.54e+07 dpi"),
    ({"requirement.snr": "120 dB"}, "120 dB is outside 0 to 100 dB"),
]  # fmt: skip


def test_each_fault_of_a_colour_is_a_sentence_of_its_own() -> None:
    """What is wrong below a colour is told with the colour's name in front, never run together."""
    red = {"x": 1, "value": "0.3 A/W", "wavelength": "green"}
    with pytest.raises(InputError) as refusal:
        changed(
            sample_setup(),
            {**COLOUR, "camera.responsivity": {"red": red, "green": AMPERES, "blue": AMPERES}},
        )
    starts = [fault.partition(": ")[0] for fault in refusal.value.faults]
    assert starts == ["camera.responsivity.red.x", "camera.responsivity.red.wavelength"]


@pytest.mark.parametrize("table", [True, 4, "camera"])
def test_a_section_that_is_no_table_is_one_fault(table: object) -> None:
    """A camera that is no table says nothing of its figures."""
    with pytest.raises(InputError, match="but this is no table") as refusal:
        setup_from({**sample_setup().texts, "camera": table})
    assert len(refusal.value.faults) == 1


@pytest.mark.parametrize(("changes", "told"), REFUSED)
def test_what_cannot_be_is_told_in_one_sentence(changes: Changes, told: str) -> None:
    """The key, what was read, what is expected; and nothing else is held against the setup."""
    with pytest.raises(InputError) as refusal:
        changed(sample_setup(), changes)
    assert len(refusal.value.faults) == 1
    assert told in refusal.value.faults[0]


AGREED: list[Changes] = [
    {"camera.full_well": "30 ke", "camera.dynamic_range": "66 dB", "camera.read_noise": "15 e"},
    # 30.0 ke over 15.3 e is 65.8 dB: 66 to whole decibels, which is 6 % either way
    {"camera.full_well": "30.0 ke", "camera.dynamic_range": "66 dB", "camera.read_noise": "15.3 e"},
    {"camera.full_well": "30 ke", "camera.dynamic_range": 2000, "camera.read_noise": "15 e"},
    {"camera.responsivity": AMPERES, "camera.quantum_efficiency": "60 %"},
]


@pytest.mark.parametrize("changes", AGREED)
def test_two_figures_that_agree_to_their_last_digit_may_both_stand(changes: Changes) -> None:
    """What the setup's own key says is then taken, with all its digits."""
    setup = changed(sample_setup(), changes)
    own = {key: value for key, value in changes.items() if "dynamic" not in key}
    own.pop("camera.responsivity", None)
    assert setup == changed(sample_setup(), own)


def test_figures_apart_by_more_than_their_digits_are_refused() -> None:
    """30.00 ke and 66.0 dB leave 0.6 % of rounding and 3 digits 0.3 %: 15.3 e is 1.7 % away."""
    changes = {
        "camera.full_well": "30.00 ke",
        "camera.dynamic_range": "66.0 dB",
        "camera.read_noise": "15.3 e",
    }
    with pytest.raises(InputError, match="give 15 e"):
        changed(sample_setup(), changes)


def test_both_names_of_a_key_in_a_file_are_refused() -> None:
    """A file that has a figure under two names is told so, with both values."""
    texts = sample_setup().texts
    camera = {**texts["camera"], "full_well": "40 ke", "saturation_capacity": "30 ke"}
    with pytest.raises(
        InputError, match=r'full_well, camera\.saturation_capacity: read "40 ke" and'
    ):
        setup_from({**texts, "camera": camera})


def test_a_figure_that_hangs_on_a_refused_one_is_not_refused_too() -> None:
    """A full well that cannot be read is one fault, whatever follows from it."""
    changes = {"camera.full_well": "much", "camera.dynamic_range_1288": "90 dB"}
    with pytest.raises(InputError) as refusal:
        changed(sample_setup(), changes)
    assert len(refusal.value.faults) == 1


def test_faults_elsewhere_hide_no_contradiction() -> None:
    """A speed that cannot be read and a sheet that contradicts itself are two sentences."""
    changes = {"transport.speed": "fast", "camera.dynamic_range_1288": "90 dB"}
    with pytest.raises(InputError) as refusal:
        changed(sample_setup(), changes)
    starts = [fault.partition(": ")[0] for fault in refusal.value.faults]
    assert starts == ["transport.speed", "camera.dynamic_range_1288"]
