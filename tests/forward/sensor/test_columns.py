"""Taps and waves over the columns: in the image, in the figures, taken off by a flat field."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim import measure
from linesim.forward.collect import pattern
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sensor.taps import amplifiers
from linesim.forward.station import station
from linesim.metrics.flat.area import flat_area
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from tests.stations import plain_setup

LINES = 1000
BASE = plain_setup(
    "Columns",
    target={"pixel_size": "250 um"},
    light={"irradiance": "20 W/m^2", "illuminance": None},
    camera={"pixels": 192, "gain": "0.5 DN/e", "bit_depth": 16, "black_level": "200 DN"},
)
STEPS = {"count": 4, "gain_step": 0.02, "offset_step": "30 e"}
TAPS: dict[str, object] = {"camera.taps": STEPS}
WAVES: dict[str, object] = {"camera.column_waves": {"gain": 0.01, "period": "16 px"}}
BINNED: dict[str, object] = {"acquisition.binning": "2x2"}
DIGITAL = {**BINNED, "acquisition.binning_domain": "digital"}
WHITE, BLACK = (
    ArrayReference(data=np.full((40, 80), level, dtype=np.float32), pixel_size_um=250.0)
    for level in (1.0, 0.0)
)


def by_column_e(changes: dict[str, object], target: ArrayReference) -> FloatArray:
    """Give the mean of each column of a scan, above black, in electrons of a delivered pixel."""
    setup = changed(BASE, changes)
    mean_dn = render(setup, target, LINES, 5, workers=1).image.mean(axis=0)
    return np.asarray(station(setup).delivered.charge_e(mean_dn), dtype=np.float64)


@pytest.mark.parametrize(("changes", "reads"), [({}, 1), (BINNED, 1), (DIGITAL, 4)])
def test_each_block_has_an_amplifier_of_its_own(changes: dict[str, object], reads: int) -> None:
    """
    Column means in the dark are the offsets, once a reading; on white they are gain and offset.

    A column's mean is known to σ/√1000; of 192 columns, two levels, the largest is under 5 of it.
    """
    setup = changed(BASE, {**changes, **TAPS})
    numbers, columns = station(setup), int(station(setup).geometry.image_width_px)
    gain, offset_e = amplifiers(setup, 0, columns)
    assert len(np.unique(gain)) == 4
    assert_array_equal(np.flatnonzero(np.diff(gain)) + 1, columns // 4 * np.arange(1, 4))
    for target, signal_e in ((BLACK, 0.0), (WHITE, float(numbers.electrons_white))):
        told_e = gain * signal_e + reads * offset_e
        error_e = 5 * float(numbers.noise_e(signal_e)) / np.sqrt(LINES)
        seen_e = by_column_e({**changes, **TAPS}, target)
        assert_allclose(seen_e, told_e, rtol=0, atol=error_e)


def test_the_keys_are_the_spread_between_taps() -> None:
    """Mean 0 and the very standard deviations typed, whatever was drawn: their definition."""
    for seed in range(4):
        setup = changed(BASE, {**TAPS, "camera.pattern_seed": seed})
        gain, offset_e = amplifiers(setup, 0, 192)
        assert [gain.mean(), gain.std()] == pytest.approx([1, 0.02], rel=1e-12)
        assert [offset_e.mean(), offset_e.std()] == pytest.approx([0, 30], rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("more", [{}, BINNED, DIGITAL])
@pytest.mark.parametrize("fault", [TAPS, WAVES], ids=["taps", "waves"])
def test_the_streaks_told_are_those_of_the_image(
    fault: dict[str, object], more: dict[str, object]
) -> None:
    """The variance of the columns, noise taken off, within 5 of its errors (EMVA 1288 (44))."""
    setup = changed(BASE, {**fault, **more})
    numbers = station(setup)
    found = flat_area([render(setup, WHITE, LINES, 5, workers=1).image])
    told_dn2 = float(np.square(numbers.dn_per_e * numbers.pattern_e(numbers.electrons_white)))
    columns = int(numbers.geometry.image_width_px)
    if fault == TAPS:
        # gains and offsets of one camera happen to go together, or against one another
        gain, offset_e = amplifiers(setup, 0, columns)
        both_e = gain * float(numbers.electrons_white) + float(numbers.reads) * offset_e
        together = both_e.var() / float(numbers.pattern_e(numbers.electrons_white)) ** 2
        told_dn2 *= together
    # what one camera shows has n - 1 degrees of freedom
    told_dn2 *= columns / (columns - 1)
    assert found.column_dn2.value == pytest.approx(told_dn2, abs=5 * found.column_dn2.sd)


def test_joined_columns_see_less_of_a_wave() -> None:
    """Its spread over 12 whole periods is the closed form, of one column and of two joined."""
    setup = changed(BASE, WAVES)
    response = pattern(setup, 0)
    for across, more in ((1, {}), (2, BINNED)):
        numbers = station(changed(setup, more))
        share = numbers.pattern_e(1e4) / 1e4
        assert response.joined(across).response.std() == pytest.approx(share, rel=1e-12)
    assert response.response.std() == pytest.approx(0.01 / np.sqrt(2), rel=1e-12)


def test_a_flat_field_takes_both_off() -> None:
    """What is left in the columns is the noise of the reference lines, as without the faults."""
    corrected: dict[str, object] = {"acquisition.flat_field": True}
    numbers = station(changed(BASE, {**corrected, **TAPS, **WAVES}))
    white_e = numbers.electrons_white
    assert numbers.pattern_e(white_e) == station(changed(BASE, corrected)).pattern_e(white_e)
    setup = changed(BASE, {**corrected, **TAPS, **WAVES})
    found = flat_area([render(setup, WHITE, LINES, 5, workers=1).image])
    told_dn2 = float(np.square(numbers.dn_per_e * numbers.pattern_e(white_e)))
    # 192 columns know a variance to √(2/191), and noise adds its own error
    error_dn2 = found.column_dn2.sd + told_dn2 * np.sqrt(2 / 191)
    assert found.column_dn2.value == pytest.approx(told_dn2, abs=5 * error_dn2)


def test_uniformity_finds_a_wave_and_only_where_there_is_one() -> None:
    """Period and peak as typed, within 4 errors; the period by its bound in noise (Rife, 1974)."""
    image = render(changed(BASE, WAVES), WHITE, LINES, 5, workers=1).image
    seen = measure.uniformity(image, black_dn=200.0)
    ((_, channel),) = seen.channels.items()
    found: dict[str, Any] = seen.figures(channel)
    error = found["column_wave_standard_error_dn"] / found["signal_dn"]
    assert found["column_wave_share"] == pytest.approx(0.01, abs=4 * error)
    noise = np.sqrt(192 / 2) * error
    bound_cyc = np.sqrt(6) * noise / (np.pi * 0.01 * 192**1.5)
    assert 1 / found["column_wave_px"] == pytest.approx(1 / 16, abs=4 * bound_cyc)
    plain = measure.uniformity(render(BASE, WHITE, LINES, 5, workers=1).image, black_dn=200.0)
    assert "column_wave" not in str(plain.as_dict())
