"""Random setups for the property tests, and how many of them: few, the same ones, each time."""

import gc
import math
import os
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.internal.conjecture import providers

from tests.bare_plots import undraw
from tests.together import Scheduler

NIGHTLY = "LINESIM_NIGHTLY" in os.environ
# until all is collected: modules and tests stay to the end, so that there is nothing to be found
gc.disable()
Texts = dict[str, dict[str, Any]]
Draw = st.DrawFn

# a worker a core: threads of linear algebra beyond that only wait for each other, busily
for _library in ("OPENBLAS", "MKL", "OMP"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")

# few and always the same; LINESIM_NIGHTLY=1 takes new ones by the thousand
_SHARED: dict[str, Any] = {
    "deadline": None,
    "database": None,
    "suppress_health_check": [HealthCheck.too_slow],
}
settings.register_profile("house", derandomize=True, max_examples=3, **_SHARED)
settings.register_profile("nightly", derandomize=False, max_examples=3000, **_SHARED)
settings.load_profile("nightly" if NIGHTLY else "house")
if not NIGHTLY and hasattr(providers, "_get_local_constants"):
    # hypothesis also draws the constants of whatever modules the process happens to have loaded,
    # so that the same examples would not come each time
    providers._get_local_constants = lambda: providers._local_constants  # noqa: SLF001 -- no switch


_WAITS = tomllib.loads(Path(__file__).with_name("nightly.toml").read_text("utf-8"))


def is_for_the_night(item: pytest.Item, number: int) -> bool:
    """Say whether a test waits for the nightly run: by its mark, its case, its number."""
    name = getattr(item, "originalname", item.name)
    case = item.name.removeprefix(name)
    named = any(word in case for word in _WAITS["cases"].get(name, ()))
    left_out = number % _WAITS["one_in"].get(name, 1)
    return bool(named or left_out or item.get_closest_marker("nightly"))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave out what is too slow for every change; nobody takes it for a test that was skipped."""
    if not NIGHTLY:
        numbers: defaultdict[str, count[int]] = defaultdict(count)
        items[:] = [
            each
            for each in items
            if not is_for_the_night(each, next(numbers[each.nodeid.partition("[")[0]]))
        ]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:  # noqa: ANN401 -- xdist's
    """Give each worker whole files, and those that share what is slow to start to one."""
    return Scheduler(config, log) if config.getoption("dist") == "loadfile" else None


def pytest_collection_finish() -> None:
    """Let the garbage collector look at what tests make, and at no module and no test."""
    gc.freeze()
    gc.enable()


@pytest.fixture(scope="session")
def downloads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder in which lands what pages download."""
    return tmp_path_factory.mktemp("downloads")


@pytest.fixture(scope="session")
def driver(downloads: Path) -> Iterator[Any]:
    """Start the one browser of this run."""
    from tests.browser import started  # noqa: PLC0415 -- for those who look at pages

    with started(downloads) as found:
        yield found


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave drawing, the slowest part of many a command, to the tests that look at drawings."""
    undraw(monkeypatch)


_JOINED = st.sampled_from([1, 1, 2, 2, 3, 4])


def spread(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers that lie evenly on a scale of ratios, with few digits to read."""
    return st.floats(math.log(low), math.log(high)).map(
        lambda x: min(max(float(f"{math.exp(x):.4g}"), low), high)
    )


def sometimes(low: float, high: float) -> st.SearchStrategy[float]:
    """Nothing, or a number as above."""
    return st.one_of(st.just(0.0), spread(low, high))


@st.composite
def _transport(draw: Draw, pixel_um: float) -> dict[str, Any]:
    speed = draw(spread(5.0, 5000.0))
    found: dict[str, Any] = {
        "speed": f"{speed!r} mm/s",
        "speed_ripple": draw(sometimes(0.001, 0.3)),
        "ripple_frequency": f"{draw(spread(1.0, 300.0))!r} Hz",
        "line_jitter": f"{draw(sometimes(0.1, 20.0))!r} um",
        "skew": f"{draw(sometimes(0.01, 2.0))!r} deg",
        "lateral_wander": draw(
            st.sampled_from(["0 um", "0 um", "0 um", "40 um"])
        ),  # slow to render
        "lateral_wander_frequency": f"{draw(spread(1.0, 300.0))!r} Hz",
    }
    if draw(st.booleans()):
        return found | draw(_encoder(pixel_um))
    if draw(st.booleans()):
        found["assumed_speed"] = f"{speed * draw(st.floats(0.8, 1.25)):.5g} mm/s"
    return found


@st.composite
def _encoder(draw: Draw, pixel_um: float) -> dict[str, Any]:
    step, multiplier = draw(spread(1.0, 30.0)), draw(st.sampled_from([1, 1, 2, 4]))
    found: dict[str, Any] = {
        "trigger": "encoder",
        "encoder_step": f"{step!r} um",
        "encoder_multiplier": multiplier,
        "encoder_turn_error": f"{draw(sometimes(1.0, 50.0))!r} um",
        "encoder_turn_length": f"{draw(spread(10.0, 1000.0))!r} mm",
    }
    if draw(st.booleans()):
        wanted = pixel_um * multiplier / step * draw(st.floats(0.7, 1.5))
        found["encoder_divider"] = max(1, round(wanted))
    return found


@st.composite
def _optics(draw: Draw, magnification: float, camera: dict[str, Any]) -> dict[str, Any]:
    """Draw a lens; defocus blurs over up to 3 pixels, cos⁴ leaves half at the ends or more."""
    pixel_um, f_number = _um(camera["pixel_width"]), draw(spread(1.0, 16.0))
    deepest_mm = 3 * pixel_um * f_number * (1 + magnification) / magnification**2 / 1000
    found: dict[str, Any] = {
        "magnification": magnification,
        "f_number": f_number,
        "transmission": draw(st.floats(0.3, 1.0)),
        "blur": f"{draw(sometimes(0.5, 8.0))!r} um",
        "defocus": f"{deepest_mm * draw(st.sampled_from([0.0, 0.0, 1.0, -0.5])):.4g} mm",
    }
    if draw(st.booleans()):
        half_mm = camera["pixels"] * pixel_um / 2000
        tangent = draw(spread(0.02, 0.6))
        found["focal_length"] = f"{max(half_mm / tangent / (1 + magnification), 0.1):.4g} mm"
    return found


@st.composite
def _light(draw: Draw) -> dict[str, Any]:
    irradiance = draw(spread(0.1, 1e4))
    return {
        "irradiance": f"{irradiance!r} W/m^2",
        "spectrum": draw(st.sampled_from(["LED-B3", "D65", "A", "LED-RGB1"])),
        "edge_falloff": draw(sometimes(0.01, 0.3)),
        "flicker": draw(st.one_of(st.just(0.0), sometimes(0.01, 0.2))),
        "flicker_frequency": f"{draw(spread(50.0, 5000.0))!r} Hz",
        "ambient": f"{irradiance * draw(sometimes(0.01, 1.0)):.4g} W/m^2",
    }


def _um(text: str) -> float:
    return float(text.split(maxsplit=1)[0])


@st.composite
def _camera(draw: Draw, kinds: tuple[str, ...]) -> dict[str, Any]:
    kind, width = draw(st.sampled_from(kinds)), draw(spread(2.0, 20.0))
    well = draw(spread(2e3, 2e5))
    found: dict[str, Any] = {
        "kind": kind,
        "pixels": draw(st.integers(32, 64)),
        "pixel_width": f"{width!r} um",
        "light_share": draw(st.floats(0.2, 1.0)),
        "quantum_efficiency": draw(st.floats(0.2, 0.9)),
        "dark_current": f"{draw(sometimes(10.0, 1e5))!r} e/s",
        "full_well": f"{well!r} e",
        "dsnu": f"{draw(sometimes(0.5, 30.0))!r} e",
        "prnu": draw(sometimes(0.001, 0.02)),
        "pattern_seed": draw(st.integers(0, 1000)),
        "bit_depth": draw(st.sampled_from([8, 10, 12, 14])),
        "tdi_stages": draw(st.sampled_from([1, 1, 1, 4, 16])),
    }
    height = float(f"{width * draw(st.sampled_from([0.5, 1.0, 1.0, 2.0])):.5g}")
    if found["tdi_stages"] == 1 and draw(st.booleans()):
        found["row_heights"] = [f"{each!r} um" for each in (height,) * 4 + (1.5 * height,) * 4]
    else:
        found["pixel_height"] = f"{height!r} um"
    if draw(st.booleans()):
        found["binned_full_well"] = f"{well * draw(st.sampled_from([0.5, 1.5, 4.0]))!r} e"
    if kind == "three-line":
        found["line_spacing"] = f"{width * draw(st.integers(1, 8)):.5g} um"
    if kind != "mono" and draw(st.booleans()):
        shares = {colour: draw(st.floats(0.2, 0.9)) for colour in ("red", "green", "blue")}
        found |= {"light_share": shares, "quantum_efficiency": dict(reversed(shares.items()))}
    return found


@st.composite
def _acquisition(draw: Draw, camera: dict[str, Any]) -> dict[str, Any]:
    domain = draw(st.sampled_from(["charge", "digital"]))
    found: dict[str, Any] = {
        "line_rate": "matched",
        "binning": f"{draw(_JOINED)}x{draw(_JOINED)}",
        "binning_domain": domain,
        "colour_alignment": draw(st.sampled_from(["whole-lines", "fractional", "none"])),
        "white_balance": draw(st.sampled_from(["off", "grey-card"])),
        "flat_field": draw(st.booleans()),
        "flat_field_lines": draw(st.sampled_from([64, 256, 1000])),
    }
    if domain == "digital":
        found["binning_mode"] = draw(st.sampled_from(["sum", "average"]))
        if camera["tdi_stages"] == 1:
            found["binning_along"] = draw(st.sampled_from(["rows", "lines"]))
    if "row_heights" in camera:
        found["row_height"] = draw(st.sampled_from(camera["row_heights"]))
    if draw(st.booleans()):
        found["line_rate"] = "square"
    if draw(st.booleans()):
        found["exposure"] = f"{draw(spread(1.0, 2000.0))!r} us"
    return found


@st.composite
def _requirement(draw: Draw, pixel_um: float) -> dict[str, Any]:
    found: dict[str, Any] = {
        "smallest_defect": f"{pixel_um * draw(st.floats(0.5, 12.0)):.5g} um",
        "defect_contrast": draw(st.floats(0.02, 0.9)),
        "defect_shape": draw(st.sampled_from(["disc", "scratch-along", "scratch-across"])),
    }
    asked = {
        "detection_rate": st.floats(0.5, 0.99),
        "false_alarms_per_m2": spread(1e-3, 100.0),
        "snr": spread(1.0, 300.0),
        "product_reflectance": st.floats(0.05, 0.9),
    }
    return found | draw(st.fixed_dictionaries({}, optional=asked))


@st.composite
def station_texts(draw: Draw, kinds: tuple[str, ...] = ("mono", "prism", "three-line")) -> Texts:
    """Draw a setup as nested texts that the door lets in: a small `flat` under any camera."""
    camera = draw(_camera(kinds))
    magnification = draw(spread(0.02, 4.0))
    pixel_um = _um(camera["pixel_width"]) / magnification
    lens, transport = draw(_optics(magnification, camera)), draw(_transport(pixel_um))
    sides_um = [
        _um(each) for each in (camera.get("pixel_height"), *camera.get("row_heights", ())) if each
    ]
    # a quarter of a pixel is the shortest advance, at the peak of a ripple
    period_us = (
        1000
        * min(*sides_um, _um(camera["pixel_width"]))
        / magnification
        / _um(transport["speed"])
        / 8
    )
    camera["dead_time"] = f"{period_us * draw(sometimes(0.01, 0.5)):.4g} us"
    if "focal_length" in lens:
        distance_mm = _um(lens["focal_length"]) * (1 + 1 / magnification)
        share = draw(st.sampled_from([0.0, 0.0, 0.0, 0.005]))  # slow to render
        transport |= {"flutter": f"{share * distance_mm:.4g} mm", "flutter_frequency": "7 Hz"}
    return {
        "title": draw(st.sampled_from(["Web", "Tile, 2 mm", "Folie <b>µ</b>"])),
        "target": {
            "image": "flat",
            "pixel_size": f"{pixel_um / draw(st.floats(1.0, 2.0)):.5g} um",
            "white_reflectance": draw(st.floats(0.05, 1.0)),
        },
        "transport": transport,
        "lens": lens,
        "light": draw(_light()),
        "camera": camera,
        "acquisition": draw(_acquisition(camera)),
        "requirement": draw(_requirement(pixel_um)),
    }


@pytest.fixture(scope="session")
def any_station() -> st.SearchStrategy[Texts]:
    """Give the strategy of all kinds of station."""
    return station_texts()


@pytest.fixture(scope="session")
def mono_station() -> st.SearchStrategy[Texts]:
    """Give the strategy of stations with a monochrome camera."""
    return station_texts(kinds=("mono",))
