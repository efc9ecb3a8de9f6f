"""What keys of sensor, binning and faults demand of one another: said in one sentence each."""

import pytest

from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.rows import pixel_shapes
from tests.stations import plain_setup

BASE = plain_setup(
    "Relations", target={"pixel_size": "25 um"}, camera={"pixels": 64, "pixel_width": "6 um"}
)
ROWS: dict[str, object] = {"camera.row_heights": ["6 um", "6 um", "9 um", "9 um"]}
EIGHT = "6 x 6, 12 x 6, 6 x 12, 12 x 12, 6 x 9, 12 x 9, 6 x 18, 12 x 18"
DIGITAL = {"acquisition.binning_domain": "digital"}
LINES = {"acquisition.binning_along": "lines"}

COLOURS = {"red": 0.4, "green": 0.5, "blue": 0.5}

REFUSED: dict[str, tuple[dict[str, object], str]] = {
    "efficiency a colour without colours": ({"camera.quantum_efficiency": COLOURS},
     ("camera.quantum_efficiency: read { red = 0.4, green = 0.5, blue = 0.5 }, one a colour, "
      "but a mono camera has no colours; expected a single value, or kind")),
    "light a colour without colours": ({"camera.light_share": COLOURS},
     "camera.light_share: read { red = 0.4, green = 0.5, blue = 0.5 }, one a colour, but a mono"),
    "no such height": ({**ROWS, "acquisition.row_height": "8 um"},
     (f'acquisition.row_height: read "8 um", but no row of the sensor has that height; '
      f"expected a height that makes one of {EIGHT} um")),
    "too few rows of the height": ({**ROWS, "acquisition.binning": "1x3"},
     ('acquisition.binning: read "1x3", but the sensor has only 2 neighbouring rows of 6 um; '
      f"expected one of the pixels that its rows can make: {EIGHT} um, or more rows")),
    "one row": ({"camera.rows": 1, "acquisition.binning": "2x2"},
     ('acquisition.binning: read "2x2", but the sensor has only 1 neighbouring row of 6 um; '
      "expected one of the pixels that its rows can make: 6 x 6, 12 x 6 um, or more rows")),
    "not neighbours": (
     {"camera.row_heights": ["6 um", "9 um", "6 um"], "acquisition.binning": "1x2"},
     "only 1 neighbouring row of 6 um"),
    "rows against heights": ({**ROWS, "camera.rows": 3}, "camera.rows: read 3, but camera.row_h"),
    "wider than the sensor": ({"camera.pixels": 2, "acquisition.binning": "3x1"},
     'acquisition.binning: read "3x1", but camera.pixels is 2; expected at most that many'),
    "average of charge": ({"acquisition.binning": "2x1", "acquisition.binning_mode": "average"},
     'acquisition.binning_mode: read "average", but charge can only be summed'),
    "lines of charge": ({"acquisition.binning": "1x2", **LINES},
     'acquisition.binning_along: read "lines", but successive lines are joined as numbers only'),
    "stages and lines": ({"camera.tdi_stages": 8, "acquisition.binning": "1x2", **LINES, **DIGITAL},
     "camera.tdi_stages: read 8, but this cannot be joined with binning of successive lines"),
    "stages of unequal rows": ({"camera.tdi_stages": 8, **ROWS},
     "camera.tdi_stages: read 8, but stages are equal rows"),
    "flutter of no lens": ({"transport.flutter": "0.5 mm"},
     ('transport.flutter: read "0.5 mm", but its change of scale needs the working distance; '
      "expected a lens.focal_length")),
    "turn of no encoder": (
     {"transport.encoder_turn_error": "5 um", "transport.encoder_turn_length": "200 mm"},
     'transport.encoder_turn_error: read "5 um", but it needs an encoder'),
    "turn of no length": (
     {"transport.encoder_turn_error": "5 um", "transport.trigger": "encoder",
      "transport.encoder_step": "20 um"},
     'transport.encoder_turn_error: read "5 um", but it needs an encoder and its travel in'),
    "three lines at no distance": ({"camera.kind": "three-line"},
     'camera.line_spacing: nothing was read, but kind = "three-line" needs the distance'),
    "lux of unseen light": (
     {"light.illuminance": None, "light.irradiance": "100 W/m^2",
      "light.spectrum": {"peak": "850 nm", "width": "40 nm"}, "light.ambient": "50 lx"},
     'light.ambient: read "50 lx", but it is taken to have the spectrum of the light'),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_refused_in_a_sentence(name: str) -> None:
    """Key, what was read, what is expected."""
    change, sentence = REFUSED[name]
    with pytest.raises(InputError) as fault:
        changed(BASE, change)
    assert sentence in str(fault.value)
    assert str(fault.value).count("read") == 1


ALLOWED: dict[str, dict[str, object]] = {
    "tall rows": {**ROWS, "acquisition.row_height": "9 um", "acquisition.binning": "2x2"},
    "other unit": {**ROWS, "acquisition.row_height": "0.009 mm", "acquisition.binning": "1x2"},
    "as many rows as needed": {"acquisition.binning": "4x4"},
    "rows as heights": {**ROWS, "camera.rows": 4},
    "nothing to average": {"acquisition.binning_mode": "average"},
    "one line of charge": {"acquisition.binning": "2x1", **LINES},
    "lines of one row": {"camera.rows": 1, "acquisition.binning": "1x4", **LINES, **DIGITAL},
    "stages and rows": {"camera.tdi_stages": 8, "acquisition.binning": "1x2"},
    "flutter": {"transport.flutter": "0.5 mm", "lens.focal_length": "60 mm"},
    "a turn": {"transport.encoder_turn_error": "5 um", "transport.encoder_turn_length": "200 mm",
     "transport.trigger": "encoder", "transport.encoder_step": "20 um"},
    "three lines": {"camera.kind": "three-line", "camera.line_spacing": "30 um"},
    "watts of unseen light": {"light.illuminance": None, "light.irradiance": "100 W/m^2",
     "light.spectrum": {"peak": "850 nm", "width": "40 nm"}, "light.ambient": "1 W/m^2"},
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(ALLOWED))
def test_its_neighbour_is_allowed(name: str) -> None:
    """The same keys with values that go together."""
    assert changed(BASE, ALLOWED[name]).camera.pixels == 64


def test_shapes_up_to_the_columns_asked_for() -> None:
    """One row and four columns: four shapes; heights that come again count once."""
    assert pixel_shapes(5.0, (5.0,), 4) == [(5, 5), (10, 5), (15, 5), (20, 5)]
    assert pixel_shapes(5.0, (5.0, 7.0, 5.0), 1) == [(5, 5), (5, 7)]
