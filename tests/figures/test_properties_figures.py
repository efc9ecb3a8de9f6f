"""What must hold of the closed forms, whatever the station."""

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from linesim.figures.budget import Budget, budget
from linesim.figures.case import values
from linesim.figures.resolution import mtf_across, mtf_along
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup

Texts = dict[str, dict[str, Any]]
Stations = st.SearchStrategy[Texts]
EXACT = 1e-9
"""Of sums and roots in double precision, some 1e-15 each, and of the figures' own halvings."""


def each(figures: Any) -> np.ndarray[Any, Any]:  # noqa: ANN401 -- a number or one a colour
    """Give a figure's values as an array: one, or one a colour."""
    return np.array(list(figures.values()) if isinstance(figures, dict) else [figures])


def all_of(found: Budget, group: str, name: str) -> np.ndarray[Any, Any]:
    """Give the values of a figure."""
    return each(found[group][name])


@given(data=st.data(), times=st.floats(1.0, 50.0))
def test_more_light_never_takes_anything_away(
    any_station: Stations, data: st.DataObject, times: float
) -> None:
    """Brighter: electrons, SNR, DN never fall; nor, until it clips, does what can be found."""
    texts = data.draw(any_station)
    texts["acquisition"]["white_balance"] = "off"  # a balance follows the light
    dim = setup_from(texts)
    bright = changed(dim, {"light.irradiance": f"{dim.irradiance_w_m2 * times!r} W/m^2"})
    before, after = budget(dim), budget(bright)
    clips = all_of(after, "limits", "clipping_share").max() > 1
    of_detection = () if clips else ("defect_cnr", "defect_dprime", "detection_rate")
    for group, name in (
        ("signal", "electrons_white"),
        ("signal", "snr_white"),
        ("signal", "snr_total_white"),
        ("signal", "dn_white"),
        ("signal", "saturation_white"),
        *(("detection", each) for each in of_detection),
    ):
        less, more = all_of(before, group, name), all_of(after, group, name)
        assert (more >= less * (1 - EXACT)).all(), name
    assert (all_of(after, "detection", "detection_rate") <= 1).all()
    assert (all_of(before, "detection", "detection_rate") >= 0).all()
    for name in () if clips else ("smallest_detectable_um", "rose_diameter_um"):
        if name in before["detection"] and name in after["detection"]:
            large, small = (all_of(found, "detection", name) for found in (before, after))
            assert (small <= large * (1 + EXACT)).all(), name
        # a size that could be found in the dark can be found in the light
        assert name in after["detection"] or name not in before["detection"]


@given(data=st.data(), cycles=st.floats(0.0, 3.0))
def test_mtf_is_a_share_and_motion_never_raises_it(
    any_station: Stations, data: st.DataObject, cycles: float
) -> None:
    """Across and along at any frequency: from 0 to 1; less exposure never lowers it below 1/2px."""
    setup = setup_from(data.draw(any_station))
    numbers = station(setup)
    nyquist = 500 / float(numbers.timing.line_advance_um)
    for mtf in (mtf_across, mtf_along):
        value = mtf(numbers, cycles * nyquist)
        assert ((value >= 0) & (value <= 1 + EXACT)).all()
    found = budget(setup)["resolution"]
    assert 0 <= float(found["mtf_motion_nyquist_y"]) <= 1
    shorter_us = max(float(np.max(numbers.timing.exposure_us)) / 1000, 0.001)  # 1 ns is the least
    shorter = changed(setup, {"acquisition.exposure": f"{shorter_us!r} us"})
    # |sinc| falls only up to its first zero: a travel of one period
    frequency = min(nyquist, 1000 / float(np.max(numbers.motion_um)))
    still, moved = (mtf_along(station(each), frequency) for each in (shorter, setup))
    assert (moved <= still * (1 + EXACT)).all()
    ends = [found.get("mtf50_x_lp_mm"), found.get("mtf50_y_lp_mm")]
    assert all(min(values(end)) > 0 for end in ends if end is not None)


def joined(setup: Setup, texts: str, domain: str, exposure_us: float) -> Setup:
    """Join pixels of one station as a sum, at an equal exposure."""
    return changed(
        setup,
        {
            "acquisition.binning": texts,
            "acquisition.binning_domain": domain,
            "acquisition.binning_mode": "sum",
            "acquisition.binning_along": "rows",
            "acquisition.exposure": f"{exposure_us!r} us",
        },
    )


@given(
    data=st.data(), across=st.integers(1, 4), along=st.integers(1, 4), read_e=st.floats(0.0, 200.0)
)
def test_joined_pixels_are_never_worse(
    any_station: Stations, data: st.DataObject, across: int, along: int, read_e: float
) -> None:
    """SNR on white, summed, of equal exposure, unclipped: charge ≥ digital ≥ none."""
    base = changed(setup_from(data.draw(any_station)), {"camera.read_noise": f"{read_e!r} e"})
    exposure_us = float(np.max(station(base).timing.exposure_us))
    alone = joined(base, "1x1", "charge", exposure_us)
    charge, numbers = (
        joined(base, f"{across}x{along}", domain, exposure_us) for domain in ("charge", "digital")
    )
    one, best, middle = (all_of(budget(s), "signal", "snr_white") for s in (alone, charge, numbers))
    assert (best >= middle * (1 - EXACT)).all()
    assert (middle >= one * (1 - EXACT)).all()


@given(data=st.data())
def test_every_figure_is_finite_and_every_caution_a_sentence(
    any_station: Stations, data: st.DataObject
) -> None:
    """No NaN, no negative size; cautions are whole sentences; the budget reads the same twice."""
    setup = setup_from(data.draw(any_station))
    found = budget(setup)
    for group, figures in found.groups.items():
        for name, value in figures.items():
            if not isinstance(value, str):
                assert np.isfinite(each(value)).all(), (group, name)
            if name.endswith(("_um", "_mm", "_hz", "_us", "_e")):
                assert (each(value) >= 0).all(), (group, name)
    for caution in found.cautions:
        assert caution.text.endswith((".", "%"))
        assert "nan" not in caution.text.split()
    assert budget(setup).as_dict() == found.as_dict()


@given(data=st.data(), share=st.floats(0.1, 1.0))
def test_less_time_means_fewer_electrons(
    any_station: Stations, data: st.DataObject, share: float
) -> None:
    """Electrons, dark electrons and motion blur all grow as the exposure."""
    setup = setup_from(data.draw(any_station))
    exposure_us = float(np.max(station(setup).timing.exposure_us))
    whole, part = (
        budget(changed(setup, {"acquisition.exposure": f"{exposure_us * each!r} us"}))
        for each in (1.0, share)
    )
    for group, name in (
        ("signal", "electrons_white"),
        ("signal", "dark_e"),
        ("exposure", "motion_blur_um"),
    ):
        np.testing.assert_allclose(
            all_of(part, group, name), share * all_of(whole, group, name), rtol=EXACT
        )


@given(data=st.data(), dead_share=st.floats(1.0, 5.0))
def test_no_time_to_expose_is_refused(
    any_station: Stations, data: st.DataObject, dead_share: float
) -> None:
    """A dead time of the whole period or more: a sentence, never a negative exposure."""
    texts = data.draw(any_station)
    texts["acquisition"].pop("exposure", None)
    setup = setup_from(texts)
    period_us = 1e6 / float(np.max(station(setup).timing.peak_rate_hz))
    assume(period_us * dead_share < 1e9)
    late = changed(setup, {"camera.dead_time": f"{period_us * dead_share * 1.001!r} us"})
    with pytest.raises(InputError, match=r"camera\.dead_time: read"):
        budget(late)
