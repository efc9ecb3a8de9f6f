"""The window of the preview shows what the scan has there, however much of it was kept."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from threading import Event
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from threadpoolctl import threadpool_limits

from linesim.forward.station import station as numbers_of
from linesim.preview import frame as frames
from linesim.preview.frame import Frame, Optics, Task, optical_key
from linesim.preview.held import Held
from linesim.preview.latest import SupersededError
from linesim.preview.window import Part, Visible, part, visible
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import Scan, scan
from linesim.targets.load import target_reference

# several strips, odd starts and ends: nothing falls on a border of strips or tiles by chance
WINDOW = Part(first_line=37, first_column=21, lines=95, columns=90, step=1)
KINDS: list[dict[str, Any]] = [
    {},
    {"acquisition.binning": "2x2"},
    {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
    {"camera.kind": "prism"},
    {
        "transport.skew": "1 deg",
        "transport.lateral_wander": "100 um",
        "transport.line_jitter": "9 um",
    },
    {"acquisition.flat_field": True, "light.edge_falloff": 0.5, "target.repeat": True},
]  # fmt: skip
# each with a value that changes the numbers, so that a kept picture would be found out
LATER: dict[str, Any] = {
    "camera.read_noise": "90 e",
    "camera.dark_current": "9e6 e/s",
    "camera.full_well": "9 ke",
    "camera.dsnu": "60 e",
    "camera.prnu": 0.1,
    "camera.pattern_seed": 5,
    "camera.bit_depth": 8,
    "camera.gain": "0.03 DN/e",
    "camera.black_level": "100 DN",
    "acquisition.flat_field": True,
}
SOONER: dict[str, Any] = {
    "light.illuminance": "30 klx",
    "light.edge_falloff": 0.3,
    "transport.speed": "90 m/min",
    "lens.f_number": 8.0,
    "lens.defocus": "1 mm",
    "camera.quantum_efficiency": 0.4,
    "camera.pixel_height": "9 um",
    "camera.dead_time": "20 us",
    "acquisition.exposure": "20 us",
    "acquisition.binning": "2x2",
    "acquisition.line_rate": "9 kHz",
    "target.white_reflectance": 0.5,
}


@pytest.fixture(scope="module")
def pool() -> Iterator[ThreadPoolExecutor]:
    """Lend threads, each with one thread of BLAS as in a scan, for the same bytes."""
    with threadpool_limits(limits=1, user_api="blas"), ThreadPoolExecutor(2) as found:
        yield found


def task(setup: Setup, lines: int, window: Part = WINDOW, seed: int = 3) -> Task:
    """Ask for a window."""
    reference = target_reference(setup)
    return Task(
        setup=setup, reference=reference, target="foil", lines=lines, part=window, seed=seed
    )


def cut(whole: Scan, window: Part) -> tuple[np.ndarray, np.ndarray]:
    """Cut a window out of a scan: samples and expected electrons."""
    index = np.ix_(window.line_numbers, window.column_numbers)
    return np.atleast_3d(whole.image)[index], np.atleast_3d(whole.expected_e)[index]


@cache
def scanned(setup: Setup) -> Scan:
    """Scan once what several tests look into."""
    return scan(setup, seed=3, workers=2)


def small(window: Part, whole: Scan) -> Part:
    """Keep a window inside of a scan with fewer samples."""
    lines, width = whole.image.shape[:2]
    return replace(
        window,
        lines=min(window.lines, lines - window.first_line),
        columns=min(window.columns, width - window.first_column),
    )


@pytest.mark.parametrize("changes", KINDS, ids=lambda changes: " ".join(changes) or "plain")
def test_every_sample_is_that_of_the_scan(
    station: Setup, pool: ThreadPoolExecutor, changes: dict[str, Any]
) -> None:
    """At full resolution the window is cut out of the scan, bit by bit."""
    setup = changed(station, changes)
    whole = scanned(setup)
    window = small(WINDOW, whole)
    found = Optics(pool).frame(task(setup, len(whole.image), window))
    image, expected_e = cut(whole, window)
    assert found.as_scanned
    assert_array_equal(found.image, image)
    assert_array_equal(found.expected_e, expected_e)


@pytest.mark.parametrize("changes", KINDS, ids=lambda changes: " ".join(changes) or "plain")
@pytest.mark.parametrize("step", [1, 3, 5])
def test_fewer_columns_see_the_same_light(
    station: Setup,
    pool: ThreadPoolExecutor,
    monkeypatch: pytest.MonkeyPatch,
    changes: dict[str, Any],
    step: int,
) -> None:
    """
    Where columns and lines are drawn alone, the expected electrons are those of the scan.

    float32 sums in another order: some tens of terms, each rounded to 6e-8 of the brightest.
    """
    monkeypatch.setattr(frames, "_MOST_WHOLE", 0)
    monkeypatch.setattr(frames, "_COLUMNS_APART", 8)
    setup = changed(station, changes)
    whole = scanned(setup)
    lines, width = whole.image.shape[:2]
    first = (6 * step, 3 * step)
    window = Part(
        first_line=first[0],
        first_column=first[1],
        lines=(lines - first[0]) // step,
        columns=min(40, (width - first[1]) // step),
        step=step,
    )
    found = Optics(pool).frame(task(setup, lines, window))
    _, expected_e = cut(whole, window)
    assert not found.as_scanned
    assert_allclose(found.expected_e, expected_e, rtol=0, atol=3e-6 * float(expected_e.max()))


def test_narrow_windows_have_noise_of_the_right_size(
    station: Setup, pool: ThreadPoolExecutor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """
    On an even target, the spread of picked samples is the budget's temporal noise.

    A standard deviation of n independent samples has a relative standard error of 1/√(2n).
    """
    monkeypatch.setattr(frames, "_MOST_WHOLE", 0)
    setup = changed(station, {"target.image": "flat", "camera.prnu": 0.0, "camera.dsnu": "0 e"})
    window = Part(first_line=0, first_column=4, lines=90, columns=80, step=2)
    found = Optics(pool).frame(task(setup, 200, window))
    numbers = numbers_of(setup)
    noise_dn = float(numbers.noise_e(numbers.electrons_white)) * setup.gain_dn_e
    tolerance = 4.5 * noise_dn / np.sqrt(2 * found.image.size)
    assert found.image.std(ddof=1) == pytest.approx(noise_dn, rel=0, abs=tolerance)


@pytest.mark.parametrize("key", LATER)
def test_what_comes_later_leaves_the_light_alone(
    station: Setup, pool: ThreadPoolExecutor, key: str
) -> None:
    """A change of noise or numbers, made on kept electrons, gives the very scan it should."""
    optics, lines = Optics(pool), len(scanned(station).image)
    before = optics.frame(task(station, lines))
    setup = changed(station, {key: LATER[key]})
    assert optical_key(setup, 3) == optical_key(station, 3)
    after = optics.frame(task(setup, lines))
    image, expected_e = cut(scanned(setup), WINDOW)
    assert_array_equal(after.image, image)
    assert_array_equal(after.expected_e, expected_e)
    assert (after.image != before.image).any()


@pytest.mark.parametrize("key", SOONER)
def test_what_comes_sooner_is_worked_out_anew(station: Setup, key: str) -> None:
    """Whatever changes the light has another key."""
    setup = changed(station, {key: SOONER[key]})
    assert optical_key(setup, 0) != optical_key(station, 0)


def test_the_seed_counts_where_lines_jitter(station: Setup) -> None:
    """Jitter is drawn with the seed of the run; without it the light knows no seed."""
    assert optical_key(station, 1) == optical_key(station, 2)
    jittered = changed(station, {"transport.line_jitter": "5 um"})
    assert optical_key(jittered, 1) != optical_key(jittered, 2)


def test_panning_keeps_what_was_seen(station: Setup, pool: ThreadPoolExecutor) -> None:
    """A window a line further shows the same samples, a line further."""
    optics = Optics(pool)

    def seen(first_line: int) -> Frame:
        window = replace(WINDOW, first_line=first_line)
        return optics.frame(task(station, 200, window))

    assert_array_equal(seen(37).image[1:], seen(38).image[:-1])


@pytest.mark.parametrize(("pixels", "lines"), [(100_000, 50_000), (2000, 1900)])
def test_a_window_is_picked_on_a_fixed_grid(station: Setup, pixels: int, lines: int) -> None:
    """Zoomed out, one in n is picked or squares of n are averaged, wherever the window starts."""
    numbers = numbers_of(changed(station, {"camera.pixels": pixels}))
    seen = Visible(left_mm=-2000.0, top_mm=-5.0, width_mm=4000.0, height_mm=3000.0)
    found = part(numbers, lines, seen, 1)
    side = found.step * found.join
    assert (found.step > 1) == (pixels * lines > 4 << 20)
    assert (found.join > 1) == (found.step == 1)
    assert found.first_column % side == found.first_line % side == 0
    assert found.lines * found.columns / found.join**2 <= 1.01 * (1 << 20)
    assert found.column_numbers[-1] < pixels
    assert found.line_numbers[-1] < lines


def test_a_picture_of_what_moves_has_few_samples(station: Setup) -> None:
    """It is picked, not averaged, and small enough to come ten times a second."""
    numbers = numbers_of(changed(station, {"camera.pixels": 4096}))
    seen = Visible(left_mm=-2000.0, top_mm=0.0, width_mm=4000.0, height_mm=300.0)
    found = part(numbers, 4000, seen, 1, coarse=True)
    assert found.join == 1
    assert found.lines * found.columns < 50_000


@pytest.mark.parametrize("changes", [{}, {"camera.kind": "prism"}], ids=["mono", "prism"])
def test_a_view_is_averaged_by_area(
    station: Setup, pool: ThreadPoolExecutor, changes: dict[str, Any]
) -> None:
    """
    Each number of an averaged view is the mean of the scan's own samples under it.

    Means are written to 1/16 DN at 12 bits, so rounding is at most 1/32; squares at the far ends
    hold the samples that are left. Electrons are float32: seven digits.
    """
    setup = changed(station, changes)
    whole = scanned(setup)
    lines, width = whole.image.shape[:2]
    window = Part(first_line=6, first_column=0, lines=lines - 6, columns=width, step=1, join=3)
    assert ((lines - 6) % 3, width % 5) != (0, 0)
    found = Optics(pool).frame(task(setup, lines, window))
    image, expected_e = (np.atleast_3d(each)[6:] for each in (whole.image, whole.expected_e))
    for got, samples, atol in (
        (found.image / 16, image.astype(np.float64), 1 / 32),
        (found.expected_e, expected_e, 1e-6 * float(expected_e.max())),
    ):
        for row, column in ((0, 0), (20, 31), (got.shape[0] - 1, got.shape[1] - 1)):
            square = samples[3 * row : 3 * row + 3, 3 * column : 3 * column + 3]
            assert_allclose(got[row, column], square.mean(axis=(0, 1)), rtol=0, atol=atol)
    assert found.as_scanned


def test_work_that_nobody_waits_for_ends(station: Setup, pool: ThreadPoolExecutor) -> None:
    """Once stopped, a picture is not worked out."""
    stop = Event()
    stop.set()
    with pytest.raises(SupersededError):
        Optics(pool).frame(replace(task(station, 200), stop=stop))


@pytest.mark.parametrize("left_mm", [-1e6, 0.0, 1e6])
def test_a_window_beside_the_scan_holds_one_sample_at_least(station: Setup, left_mm: float) -> None:
    """Wherever the page is moved to, there is something to render."""
    seen = Visible(left_mm=left_mm, top_mm=left_mm, width_mm=1e-6, height_mm=1e-6)
    found = part(numbers_of(station), 200, seen, 1)
    assert found.lines == found.columns == 1


@pytest.mark.parametrize("bad", [None, 3, {}, {"left_mm": "1"}, {
    "left_mm": 0, "top_mm": 0, "width_mm": float("inf"), "height_mm": 1,
}, {"left_mm": 0, "top_mm": 0, "width_mm": -1, "height_mm": 1}])  # fmt: skip
def test_a_window_that_makes_no_sense_is_refused(bad: object) -> None:
    """Four finite numbers, with sides over zero."""
    with pytest.raises(InputError, match="window: read"):
        visible(bad)


def test_what_is_kept_is_bounded() -> None:
    """Those that were asked for least go first; the newest stays even where it is too large."""
    held: Held[str] = Held(10)
    for name in "abc":
        held.put(name, name, 4)
    assert (held.get("a"), held.get("b"), held.size_bytes) == (None, "b", 8)
    held.put("d", "d", 4)
    assert (held.get("c"), held.get("b")) == (None, "b")
    held.put("large", "x", 99)
    assert (len(held), held.get("large")) == (1, "x")
