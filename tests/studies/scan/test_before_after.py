"""Target and scan are shown at the same place, the same scale and the same brightness."""

from dataclasses import replace
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from PIL import Image
from scipy.ndimage import gaussian_filter
from skimage.registration import phase_cross_correlation

from linesim.forward.reference import ArrayReference
from linesim.setup.load import changed, setup_from
from linesim.studies.scan.before_after import before_after, on_screen, tone
from linesim.studies.scan.study import Scan, scan
from linesim.studies.scan.views import detail, scan_means, target_means, whole, window
from linesim.targets.load import target_reference

# bright, sharp, free of noise that matters: the scan is the target but for its sampling
CLEAR: dict[str, Any] = {
    "title": "clear",
    "target": {"image": "star", "pixel_size": "25 um", "width": "9.6 mm", "height": "9.6 mm"},
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.1, "f_number": 2.8},
    "light": {"illuminance": "60 klx"},
    "camera": {"pixels": 128, "pixel_width": "7.5 um", "read_noise": "1 e"},
}
STATION = setup_from(CLEAR)
SAMPLINGS: dict[str, dict[str, Any]] = {
    "full exposure": {},
    "short exposure": {"acquisition.exposure": "5 us"},
    "lines that overlap": {"acquisition.binning": "2x2", "acquisition.line_rate": "13.3333 kHz",
     "light.illuminance": "15 klx"},
    "late trigger": {"acquisition.trigger_delay": "300 us"},
    "third in turn": {"light.turn": "3 of 3", "light.illuminance": "180 klx"},
    "lines apart": {"acquisition.line_rate": "6 kHz", "light.illuminance": "30 klx"},
    "joined lines": {"acquisition.binning": "1x3", "acquisition.binning_along": "lines",
     "acquisition.binning_domain": "digital", "acquisition.binning_mode": "average"},
}  # fmt: skip


SPECKLE = np.clip(
    0.5 + 4 * gaussian_filter(np.random.default_rng(1).standard_normal((384, 384)), 4), 0.02, 1
).astype(np.float32)
"""Blots of some 0.2 mm, everywhere another."""


@pytest.mark.parametrize("name", SAMPLINGS)
def test_both_show_the_same_place(name: str) -> None:
    """
    The two pictures fit on each other (scikit-image, phase_cross_correlation).

    A pixel of the pictures is 9.4 or 10 µm. Samples are up to 225 µm long and even inside, which
    moves the best fit by up to 0.8 pixels; a smear of 75 µm that is forgotten would move it by
    nearly 4.
    """
    found = scan(changed(STATION, SAMPLINGS[name]), reference=SPECKLE)
    seen = window(found, whole(found), 1)
    assert seen.pitch_um <= 10
    source = ArrayReference(data=SPECKLE, pixel_size_um=25.0)
    inside = slice(30, -60)
    pictures = [
        picture[inside, inside] - picture[inside, inside].mean()
        for picture in (target_means(found, source, seen), scan_means(found, seen))
    ]
    taper = np.outer(*(np.hanning(side) for side in pictures[0].shape))
    shift_px, _, _ = phase_cross_correlation(  # type: ignore[no-untyped-call]
        *(picture * taper for picture in pictures), upsample_factor=50, normalization=None
    )
    assert np.abs(shift_px).max() <= 1


def test_both_have_the_same_brightness() -> None:
    """
    White and grey of the target are as bright in the scan, to the noise of a mean.

    The wedge's steps are even: 2 % in signal is under 1 % or 2 grey levels on the screen.
    """
    steps = changed(STATION, {"target.image": "steps"})
    found = scan(steps)
    source = target_reference(steps)
    seen = window(found, whole(found), 1)
    target, scanned = target_means(found, source, seen), scan_means(found, seen)
    chosen = tone(found, target)
    assert chosen.is_shared
    before = on_screen(target / chosen.reflectance)
    after = on_screen((scanned - chosen.black_dn) / (chosen.white_dn - chosen.black_dn))
    middle = slice(seen.width // 3, 2 * seen.width // 3)
    levels = (picture[:, middle].mean(axis=1) for picture in (before, after))
    first, second = (np.convolve(level, np.ones(9) / 9, "valid") for level in levels)
    assert np.median(np.abs(first - second)) < 2


def test_a_saturated_scan_is_shown_white() -> None:
    """Where the scan clips, its white is full scale, and the caption says so."""
    bright = changed(STATION, {"light.illuminance": "900 klx"})
    found = scan(bright)
    source = target_reference(bright)
    chosen = tone(found, target_means(found, source, window(found, whole(found), 1)))
    assert not chosen.is_shared
    assert chosen.white_dn == found.setup.full_scale_dn == 4095
    assert "4095 DN of 4095" in before_after(found, source)[0].caption


def large(shape: tuple[int, ...]) -> Scan:
    """Give a scan of pure noise, which packs worst of all, as large as asked."""
    rng = np.random.default_rng(2)
    image = rng.integers(0, 4096, shape, dtype=np.uint16)
    sides = {"camera.pixels": shape[1], "acquisition.lines": shape[0]}
    flat = scan(changed(STATION, {**sides, "target.image": "flat", "target.repeat": True}))
    return replace(flat, image=image, expected_e=image.astype(np.float32))


@pytest.mark.parametrize("shape", [(1100, 2300), (900, 700, 3), (3000, 60)])
def test_pictures_stay_small(shape: tuple[int, ...]) -> None:
    """No side over 1600 pixels, both of one size and 8 bit, and under 1 MB together."""
    found = large(shape)
    for part in before_after(found, target_reference(found.setup)):
        before, after = (Image.open(BytesIO(data)) for data in (part.before, part.after))
        assert before.size == after.size == part.size_px
        assert max(part.size_px) <= 1600
        assert {before.mode, after.mode} <= {"L", "RGB"}
        assert len(part.before) + len(part.after) <= 1_000_000


def test_the_scale_bar_has_its_length() -> None:
    """A bar of so many mm has that share of the width: 128 pixels of 75 µm are 9.6 mm."""
    found = scan(STATION)
    label, share = before_after(found, target_reference(STATION))[0].bar
    assert float(label.removesuffix(" mm")) == pytest.approx(9.6 * share)


def test_a_detail_lies_where_the_spot_is() -> None:
    """One dark spot on an even scan with a straight edge is what the detail shows."""
    found = scan(changed(STATION, {"acquisition.lines": 190}))
    light = np.full((190, 128), 1000.0, dtype=np.float32)
    light[:, :50] = 100
    light[185:188, 110:113] = 900
    place = detail(replace(found, expected_e=light))
    assert place is not None
    # as near to its middle as the ends of the scan allow
    assert (place.first_line, place.first_column) == (190 - 72, 128 - 72)
    assert (place.lines, place.columns) == (72, 72)


def test_pictures_are_in_true_proportion() -> None:
    """A 2x2 scan at an unchanged rate has twice the lines; its picture is square all the same."""
    found = scan(changed(STATION, SAMPLINGS["lines that overlap"]))
    assert found.image.shape == (127, 64)
    wide, tall = before_after(found, target_reference(found.setup))[0].size_px
    assert_allclose(tall / wide, 127 * 75 / (64 * 150), rtol=1 / wide)
