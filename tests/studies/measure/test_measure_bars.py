"""Measuring bars: groups placed by the setup or by regions, the finest told apart, refusals."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from linesim import InputError, changed, load_setup, measure, scan
from linesim.metrics.region import Region
from linesim.setup.setup import Setup
from linesim.studies.measure.bars.study import MeasuredBars
from linesim.studies.scan.outputs import write_scan

ROOT = Path(__file__).parents[3]
SETUP = changed(
    load_setup(ROOT / "sample_targets" / "bars.toml"),
    {"target.width": "16 mm", "target.height": "16 mm", "camera.pixels": 220},
)


@pytest.fixture(scope="module")
def image() -> NDArray[np.uint16]:
    """Give a scan of 220 x 213 px."""
    return scan(SETUP).image


@pytest.fixture(scope="module")
def found(image: NDArray[np.uint16]) -> MeasuredBars:
    """Give its bars."""
    return measure.bars(image, setup=SETUP)


def test_groups_come_in_order_up_to_nyquist(found: MeasuredBars) -> None:
    """From coarse to fine, both directions, none above half a cycle a pixel."""
    for direction in ("across", "along"):
        sets = found.along(direction)
        frequency = [each.frequency_cyc_px for each in sets]
        assert frequency == sorted(frequency)
        assert 0.4 < frequency[-1] < 0.5
        assert sets[0].resolved
        assert not sets[-1].resolved


def test_the_finest_has_the_contrast_and_so_have_all_coarser(image: NDArray[np.uint16]) -> None:
    """At several contrasts; the next finer one has less."""
    for wanted in (0.5, 0.7, 0.85):
        seen = measure.bars(image, setup=SETUP, contrast=wanted)
        sets, best = seen.along("along"), seen.finest("along")
        assert best is not None
        place = sets.index(best)
        assert all(each.contrast >= wanted for each in sets[: place + 1])
        assert sets[place + 1].contrast < wanted
    assert measure.bars(image, setup=SETUP, contrast=0.999).finest("along") is None


def test_a_scan_is_measured_from_its_own_folder(tmp_path: Path, found: MeasuredBars) -> None:
    """scan.tif with the setup.toml beside it gives what the arrays give."""
    write_scan(scan(SETUP), tmp_path)
    seen = measure.bars(tmp_path / "scan.tif", setup=tmp_path / "setup.toml")
    said = {"image": "scan.tif", "bit_depth_from": "as the file says"}
    assert seen.as_dict() == {**found.as_dict(), **said}


@pytest.mark.parametrize(
    "change",
    [
        {"transport.skew": "0.1 deg"},
        {"acquisition.line_rate": "10 kHz"},
        {"acquisition.binning": "2x1", "camera.pixels": 440, "camera.pixel_width": "3.75 um"},
        {"camera.black_level": 200},
        {"light.edge_falloff": 0.2},
        {"acquisition.exposure": "30 us"},
        {"acquisition.trigger_delay": "200 us"},
        {"light.turn": "2 of 2"},
    ],
    ids=[
        "skew",
        "slow lines",
        "binned",
        "black",
        "uneven light",
        "short exposure",
        "late",
        "in turn",
    ],
)
def test_bars_are_found_where_the_setup_puts_them(change: dict[str, object]) -> None:
    """
    Other stations, the same agreement with their closed forms where three pixels meet a period.

    0.02 is what fold and lost light come to there (derived in the check against the textbook), and
    four and a half standard deviations.
    """
    setup: Setup = changed(SETUP, change)
    seen = measure.bars(scan(setup).image, setup=setup)
    sets = [each for each in seen.sets if each.frequency_cyc_px < 1 / 3]
    assert len(sets) > 10
    for each in sets:
        assert each.figures is not None
        assert each.expected_mtf is not None
        limit = 0.02 + 4.5 * each.figures.mtf.sd
        assert each.figures.mtf.value == pytest.approx(each.expected_mtf, abs=limit)


def test_a_region_tells_frequency_and_response(
    image: NDArray[np.uint16], found: MeasuredBars
) -> None:
    """
    Two groups cut out by hand: the frequency within 1 %, the response near that by the setup.

    The region's ground is that at its ends, where diffraction has taken light away: 0.0488/(f_c w)
    of it lies beyond the window, which is 0.02 for bars of 3 px at a cut-off of 0.9 cycles/px.
    """
    for direction in ("across", "along"):
        known = found.along(direction)[0]
        width = 0.5 / known.frequency_cyc_px
        region = _around(image, direction, width)
        seen = measure.bars(image, regions=[region], pixel_pitch_um=(75.0, 75.0)).sets[0]
        assert seen.alternates == direction
        assert seen.frequency_cyc_px == pytest.approx(known.frequency_cyc_px, rel=0.01)
        assert seen.frequency_lp_mm == pytest.approx(known.frequency_lp_mm, rel=0.01)
        assert seen.figures is not None
        assert known.figures is not None
        limit = 0.03 + 4.5 * seen.figures.mtf.sd
        assert seen.figures.mtf.value == pytest.approx(known.figures.mtf.value, abs=limit)


def _around(image: NDArray[np.uint16], direction: str, bar_px: float) -> Region:
    """Cut out the first element's set: its corner is 5 widths below the numeral's top."""
    # target of 16 mm: 40 widths of 0.25 mm are 10 mm, so the corner lies (16 − 37/4)/2 mm inside
    first_um, bar_um = 1000 * (16 - 37 * 0.25) / 2, 250.0
    left_px = (first_um + (7 * bar_um if direction == "along" else 0)) / 75 + (220 - 16000 / 75) / 2
    top_px = (first_um + 5 * bar_um) / 75 - 0.5
    margin = 0.9 * bar_px
    size = round(5 * bar_px + 2 * margin)
    assert image.shape == (213, 220)
    return Region(x=round(left_px - margin), y=round(top_px - margin), width=size, height=size)


def test_one_direction_can_be_asked_for(image: NDArray[np.uint16]) -> None:
    """The other one is left out."""
    seen = measure.bars(image, setup=SETUP, direction="along").as_dict()
    assert "along" in seen
    assert "across" not in seen


def test_options_that_do_not_go_together_are_refused(image: NDArray[np.uint16]) -> None:
    """All at once, each with what is expected."""
    region = Region(x=0, y=0, width=20, height=20)
    with pytest.raises(InputError, match="neither given") as refusal:
        measure.bars(image, contrast=1.5)
    assert len(refusal.value.faults) == 2
    with pytest.raises(InputError, match="both given"):
        measure.bars(image, setup=SETUP, regions=[region])
    with pytest.raises(InputError, match="--pixel-pitch: given beside --setup"):
        measure.bars(image, setup=SETUP, pixel_pitch_um=(75.0, 75.0))


def test_images_that_do_not_fit_are_refused(image: NDArray[np.uint16]) -> None:
    """Another target, another width, nothing to be seen, nothing in the region."""
    with pytest.raises(InputError, match=r'target.image is "flat"; expected "bars"'):
        measure.bars(image, setup=changed(SETUP, {"target.image": "flat"}))
    with pytest.raises(InputError, match="210 columns read; expected 220"):
        measure.bars(image[:, :210], setup=SETUP)
    with pytest.raises(InputError, match="no group of three bars whole"):
        measure.bars(image[:40], setup=SETUP)
    with pytest.raises(InputError, match=r"--region 0,0,30,30: bars: no three equal bars"):
        measure.bars(image, regions=[Region(x=0, y=0, width=30, height=30)])
    with pytest.raises(InputError, match="expected 3 px or more each way"):
        measure.bars(image, regions=[Region(x=0, y=0, width=30, height=2)])
