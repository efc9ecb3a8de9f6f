"""Closed forms take numbers or arrays that broadcast: many stations at once, or one by one."""

import os
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linesim.figures.detection import Search, detection_group
from linesim.figures.groups import (
    Group,
    Reach,
    camera_group,
    exposure_group,
    geometry_group,
    limits_group,
    lit_group,
)
from linesim.figures.resolution import resolution_group
from linesim.forward.station import Station, station
from tests.stations import plain_setup

BASE = station(
    plain_setup(
        "Broadcast",
        lens={"blur": "2 um", "blur_along": "3 um", "defocus": "2 mm"},
        camera={
            "pixels": 1024,
            "dark_current": "1 Me/s",
            "dsnu": "4 e",
            "prnu": 0.01,
            "binned_full_well": "70 ke",
        },
    )
)

# three values of every number: left, right and on the base, across every limit and shape there is
NIGHTLY = "LINESIM_NIGHTLY" in os.environ
FACTORS = np.array([0.37, 1.0, 2.9])
WHOLE = {"pixels", "across", "along"}
PARTS = ("geometry", "timing", "optics", "ends_optics", "sensor")


def names() -> list[str]:
    """Every number of a station: "part.field", or "field" alone."""
    found = [f"{part}.{f.name}" for part in PARTS for f in fields(getattr(BASE, part))]
    # the wavelengths of a band belong to the light, and no station has its own
    found = [name for name in found if not name.endswith(".band")]
    return found + [f.name for f in fields(BASE) if f.name not in PARTS]


def value(name: str) -> float:
    """Read a number of the base."""
    owner: Any = BASE
    for part in name.split("."):
        owner = getattr(owner, part)
    return float(owner)


ABLE = Reach(
    sample_bits=16, channels=1, max_line_rate_hz=20e3, link_mb_s=100.0, max_pulse_rate_hz=3e4
)


def whole(name: str) -> bool:
    """Tell whether a number counts pixels."""
    return name.rpartition(".")[2] in WHOLE


def values(name: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Three values of one number."""
    if whole(name):
        return np.array([1.0, 2.0, 4.0])
    return value(name) * FACTORS


def with_values(numbers: Station, changes: dict[str, Any]) -> Station:
    """Replace numbers by name."""
    for name, given in changes.items():
        part, _, field = name.rpartition(".")
        if part:
            inner = replace(getattr(numbers, part), **{field: given})
            numbers = replace(numbers, **{part: inner})
        else:
            numbers = replace(numbers, **{field: given})
    return numbers


def wanted(size_um: Any) -> Search:  # noqa: ANN401 -- a number or an array
    """Look for a disc of some size."""
    return Search(
        contrast=0.2,
        detection_rate=0.95,
        false_alarms_per_m2=0.01,
        sides_um=None if size_um is None else (size_um, size_um),
    )


def groups(numbers: Station, size_um: Any = 300.0, bits: Any = 16) -> dict[str, Group]:  # noqa: ANN401 -- a number or an array
    """All groups of figures."""
    return {
        "geometry": geometry_group(numbers, 500, replace(ABLE, sample_bits=bits)),
        "limits": limits_group(numbers, replace(ABLE, sample_bits=bits), 0.9),
        "exposure": exposure_group(numbers),
        "signal": lit_group(numbers, 0.4),
        "camera": camera_group(numbers),
        "resolution": resolution_group(numbers),
        "detection": detection_group(numbers, wanted(size_um)),
    }


def assert_same(
    many: dict[str, Group], one: dict[str, Group], shape: tuple[int, ...], index: tuple[int, ...]
) -> None:
    """Compare every figure of arrays of some shape at one place."""
    for group, figures in one.items():
        assert set(figures) == set(many[group])
        for name, told in figures.items():
            got = np.broadcast_to(many[group][name], shape)[index]
            # the same operations on the same numbers; a scalar and a vector routine of the library
            # may round a cosine or a root differently, by a unit in the last place or a few
            assert_allclose(got, told, rtol=1e-12, atol=1e-12, err_msg=f"{group}.{name}")


@pytest.mark.parametrize("name", names())
def test_one_number_as_an_array(name: str) -> None:
    """Each number alone as three values: the figures of an end are those of its station."""
    given = values(name)
    many = groups(with_values(BASE, {name: given}))
    for k in (0, 2) if NIGHTLY else (2,):
        assert_same(many, groups(with_values(BASE, {name: float(given[k])})), (3,), (k,))


def test_every_number_as_an_array_at_once() -> None:
    """All numbers as arrays of seven: as seven stations one by one."""
    rng = np.random.default_rng(6)
    given = {
        name: rng.choice([1.0, 2.0, 4.0], 7)
        if whole(name)
        else value(name) * rng.uniform(0.3, 3, 7)
        for name in names()
    }
    many = groups(with_values(BASE, given))
    for k in range(7):
        one = with_values(BASE, {name: float(v[k]) for name, v in given.items()})
        assert_same(many, groups(one), (7,), (k,))


def test_two_numbers_span_a_grid() -> None:
    """Four stops by five exposures, also with the size asked for: shapes broadcast to (4, 5)."""
    stops = np.array([2.8, 4.0, 5.6, 8.0])[:, None]
    times = np.array([10.0, 20.0, 40.0, 60.0, 75.0])
    grid = with_values(BASE, {"optics.f_number": stops, "timing.exposure_us": times})
    many = groups(grid)
    for name in ("electrons_white", "snr_white", "dn_white", "saturation_white"):
        assert np.shape(many["signal"][name]) == (4, 5)
    for i in range(4):
        for j in range(5):
            one = with_values(
                BASE, {"optics.f_number": float(stops[i, 0]), "timing.exposure_us": float(times[j])}
            )
            assert_same(many, groups(one), (4, 5), (i, j))


def test_figures_of_arrays_that_are_no_part_of_the_station() -> None:
    """Size of a defect and bit depth may be arrays as well."""
    sizes, bits = np.array([100.0, 300.0]), np.array([8, 12])
    many = groups(BASE, sizes, bits)
    for k in range(2):
        assert_same(many, groups(BASE, float(sizes[k]), int(bits[k])), (2,), (k,))
    assert "defect_px_x" not in detection_group(BASE, wanted(None))
