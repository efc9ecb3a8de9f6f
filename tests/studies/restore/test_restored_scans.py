"""A restored scan, scanned again, is what the product itself would give."""

from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.fft import dctn
from scipy.ndimage import gaussian_filter

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.metrics.edge.figures import edge_response
from linesim.setup.errors import InputError
from linesim.setup.load import setup_from
from linesim.setup.setup import Setup
from linesim.studies.restore.study import Material, restored
from linesim.studies.restore.wiener import NoisePower, restore, sampled

FINE_UM, SIDE_UM, LINES = 10.0, 50.0, 160
Array = NDArray[np.float64]
A: dict[str, dict[str, Any]] = {
    "target": {"image": "flat", "pixel_size": "10 um", "white_reflectance": 1.0},
    "transport": {"speed": "1 m/s"},
    "lens": {"magnification": 0.1, "f_number": 8},
    "light": {"illuminance": "1000 klx"},
    "camera": {"pixels": 160, "pixel_width": "5 um", "full_well": "100 ke", "read_noise": "5 e",
     "bit_depth": 14},
    "acquisition": {"lines": LINES},
}  # fmt: skip
COARSE: dict[str, dict[str, Any]] = {
    "lens": {"f_number": 11},
    "camera": {"pixels": 80, "pixel_width": "10 um"},
}


def of(**changes: dict[str, Any]) -> Setup:
    """Give station A with some tables changed."""
    tables = {name: {**table, **changes.get(name, {})} for name, table in A.items()}
    return setup_from({"title": "A", **tables})


@lru_cache(maxsize=1)
def product() -> Array:
    """Give a grained product with a slanted light field, finer than either station."""
    rng = np.random.default_rng(5)
    grain = gaussian_filter(rng.standard_normal((900, 900)), 3.5)
    face = 0.45 + 0.1 * grain / grain.std()
    rows, columns = np.mgrid[0:900, 0:300]
    face[:, 300:600] = np.where((rows + 0.2 * columns) % 600 < 300, 0.75, 0.2)
    return np.clip(gaussian_filter(face, 1.0), 0.02, 0.98)


def reference(data: NDArray[Any], pitch_um: float) -> ArrayReference:
    """Hold a target."""
    return ArrayReference(data=data.astype(np.float32), pixel_size_um=pitch_um)


@lru_cache(maxsize=4)
def material(kind: str, seed: int = 1) -> tuple[Setup, Material]:
    """Scan the product with station A, and restore it."""
    changes: dict[str, dict[str, dict[str, Any]]] = {
        "plain": {},
        # lines 40 um apart, each blurred by the whole way
        "stretched": {"acquisition": {"line_rate": "25 kHz", "lines": 200}},
        "uneven": {"light": {"edge_falloff": 0.4}},
        "corrected": {"light": {"edge_falloff": 0.4}, "acquisition": {"flat_field": True}},
        "short": {"acquisition": {"exposure": "5 us"}, "light": {"illuminance": "10000 klx"}},
    }
    setup = of(**changes[kind])
    scan = render(setup, reference(product(), FINE_UM), setup.acquisition.lines or LINES, seed)
    return setup, restored(setup, scan.image)


def second(other: Setup, target: ArrayReference, lines: int) -> Array:
    """Scan a target with another station, without noise; in reflectance."""
    seen_e = render(other, target, lines, 3).expected_e
    return seen_e.astype(np.float64) / float(station(other).electrons_white)


INNER = np.s_[6:-6, 6:-6]
"""At the rim the scan knows nothing of what lies beyond."""


@pytest.mark.parametrize("kind", ["plain", "short", "stretched", "uneven", "corrected"])
@pytest.mark.parametrize("coarse", [False, True])
def test_a_second_station_sees_what_it_would_see_of_the_product(kind: str, *, coarse: bool) -> None:
    """
    The error is that of the noise left, and a third or less of that of the scan as it is.

    Where signal S is over noise N, the filter's own bias, N²S/(H(S+N))², is under the noise it
    lets through, S²N/(H(S+N))²: the error is under √2 of the noise left, and a station's transfer
    only lowers it. The grain has an MTF of 3 % at the limit of A; what it aliases stays under that.
    """
    found = material(kind)[1]
    other = of(**COARSE) if coarse else of()
    lines = LINES // 2 if coarse else LINES
    direct = second(other, reference(product(), FINE_UM), lines)
    again = second(other, reference(found.data, found.pixel_size_um), lines)
    error = float(np.std((again - direct)[INNER]))
    assert error < np.sqrt(2) * found.noise_left
    if kind == "stretched":
        return  # as it is, that scan is no target: its samples are no squares
    naive = second(other, reference(found.plain, SIDE_UM), lines)
    assert error < float(np.std((naive - direct)[INNER])) / 3


def test_the_edge_is_not_softened_twice() -> None:
    """
    MTF50 of a slanted edge by way of the material is that of the product's own, within 3 %.

    The noise left is 1 % of the step; sixteen samples about the edge in each of 148 lines make it
    0.01·sqrt(16/148)/0.5 = 0.7 % of an MTF of one half, where MTF and frequency fall about alike: 4
    sigma. As it is, the scan brings A's blur along: MTF50 is over a third lower. The exposure is
    short, so that both lie where they should.
    """
    rows, columns = np.mgrid[0:900, 0:900]
    edge = 0.2 + 0.5 / (1 + np.exp(-(columns - 450 - 0.1 * (rows - 450)) / 0.8))
    setup = of(acquisition={"exposure": "5 us"}, light={"illuminance": "10000 klx"})
    scan = render(setup, reference(edge, FINE_UM), LINES, 1)
    found = restored(setup, scan.image)

    def mtf50(target: ArrayReference) -> float:
        seen = edge_response(second(setup, target, LINES)[INNER], direction="across").mtf50_cyc_px
        assert seen is not None
        return seen

    wanted = mtf50(reference(edge, FINE_UM))
    assert mtf50(reference(found.data, found.pixel_size_um)) == pytest.approx(wanted, rel=0.03)
    assert mtf50(reference(found.plain, SIDE_UM)) < 0.67 * wanted


def test_the_noise_left_is_as_told() -> None:
    """
    Two scans of the product differ, once restored, by the noise told, times √2.

    160 x 160 samples give an sd to 0.5 %; grain and light fields have noise of their own by level,
    of which one mean is told, and the gain differs a little from one scan to the other: 5 %.
    """
    (_, one), (_, other) = (material("plain", seed) for seed in (1, 2))
    differ = float(np.std((one.data - other.data)[24:-24, 24:-24])) / np.sqrt(2)
    assert one.noise_left == pytest.approx(differ, rel=0.05)
    plain = float(np.std((one.plain - other.plain)[INNER])) / np.sqrt(2)
    assert one.noise_before == pytest.approx(plain, rel=0.03)


def test_half_is_there_at_the_frequency_told() -> None:
    """
    What of the product's grain is in the target falls through one half at the frequency told.

    In dim light; regression of the target's cosines on the product's, over the lowest of the
    other axis. 30 x 12 of them with as much noise as signal give it to 1/sqrt(360) = 5 %, and the
    frequency is told from averages over 11 of them, of 160: 7 % of the limit; slope about one.
    """
    setup = of(light={"illuminance": "20 klx"})
    rng = np.random.default_rng(8)
    grain = gaussian_filter(rng.standard_normal((800, 800)), 3.0)
    face = np.clip(0.45 + 0.12 * grain / grain.std(), 0.02, 0.98)
    scan = render(setup, reference(face, FINE_UM), LINES, 1)
    found = restored(setup, scan.image)
    truth, made = (
        dctn(each.astype(np.float64), norm="ortho")[1:12, :160] / scale
        for each, scale in ((face, 800), (found.data, len(found.data)))
    )
    at = np.arange(160) * 500 / (160 * SIDE_UM)
    ratio = np.array(
        [
            np.sum((truth * made)[:, near]) / np.sum((truth**2)[:, near])
            for near in (
                np.abs(at - f) < 0.9 for f in (0.6 * found.true_to_x_lp_mm, found.true_to_x_lp_mm)
            )
        ]
    )
    assert found.true_to_x_lp_mm < 9
    assert ratio[0] > 0.7
    assert ratio[1] == pytest.approx(0.5, abs=0.15)


def test_detail_finer_than_the_scan_is_told_where_it_spoils() -> None:
    """
    On a product of white noise a false pattern is half as strong as the true at what is told.

    Of a bare pixel H(2f_N − f)/H(f) = f/(2f_N − f), one half at 2/3 of f_N; a lens at f/1.4 lets
    the finer pass a little less. There, power that the product does not account for is 1/4 of
    that which it does; 0.02 comes the other way, 0.01 is noise, 0.02 the rim, where the scan knows
    nothing of what lies beyond. 944 cosines tell their ratio to sqrt(4/944) = 6.5 % of it: 0.30
    within four of these.
    """
    setup = of(
        lens={"f_number": 1.4}, light={"illuminance": "3000 klx"}, acquisition={"exposure": "5 us"}
    )
    face = 0.45 + 0.1 * np.random.default_rng(9).standard_normal((800, 800)).clip(-4, 4)
    scan = render(setup, reference(face, FINE_UM), LINES, 1)
    found = restored(setup, scan.image)
    assert found.folded
    assert found.true_to_x_lp_mm == pytest.approx(10 * 2 / 3, rel=0.1)
    assert found.true_to_x_lp_mm > 10 * 2 / 3
    truth, made = (
        dctn(each.astype(np.float64), norm="ortho")[1:60, :160] / scale
        for each, scale in ((face, 800), (found.data, len(found.data)))
    )
    near = np.abs(np.arange(160) / 16 - found.true_to_x_lp_mm) < 0.5
    slope = np.sum((truth * made)[:, near]) / np.sum((truth**2)[:, near])
    left = np.mean((made - slope * truth)[:, near] ** 2) / np.mean((slope * truth)[:, near] ** 2)
    assert slope == pytest.approx(1, abs=0.1)
    assert left == pytest.approx(0.30, rel=4 * 0.065)


def test_a_blur_and_its_undoing_are_exact_without_noise() -> None:
    """Cosines that lie on the grid come back to rounding, at any place between the samples."""
    lines, columns = 40, 48
    y, x = (np.arange(count) + 0.5 for count in (lines, columns))
    fy, fx = (np.arange(count) / (2 * count) for count in (lines, columns))
    transfer = np.sinc(fy)[:, np.newaxis] * np.sinc(fx) * 0.6 ** (fx + fy[:, np.newaxis])
    plain = [(0.3, 0, 0), (0.1, 5, 9), (0.05, 18, 30)]

    def wave(at_y: NDArray[Any], at_x: NDArray[Any], *, blur: bool) -> Array:
        return np.asarray(
            sum(
                (transfer[j, i] if blur else 1.0)
                * share
                * np.outer(np.cos(np.pi * j * at_y / lines), np.cos(np.pi * i * at_x / columns))
                for share, j, i in plain
            )
        )

    back = restore(wave(y, x, blur=True), transfer, NoisePower(variance=1e-20))
    finer = (np.arange(4 * lines) + 0.5) / 4, (np.arange(3 * columns) + 0.5) / 3
    seen = sampled(back.cosines, finer[0] - 0.5, finer[1] - 0.5)
    np.testing.assert_allclose(seen, wave(*finer, blur=False), atol=1e-6)  # float32


def test_the_target_has_no_blur_of_its_own_pixels() -> None:
    """
    A fine wave by way of the target is as strong as of the product, to 0.5 %.

    8 of 10 lp/mm, whose signal is far over the noise: the filter's bias is under 0.1 %, noise of
    25600 samples gives the strength to 0.1 %. Pixels of 12.5 um would take 1.6 % off: sinc 0.1.
    """
    places = (np.arange(800) + 0.5) * np.pi * 128 / 800
    wave = 0.5 + 0.2 * np.cos(places) * np.ones((800, 1))
    setup = of()
    scan = render(setup, reference(wave, FINE_UM), LINES, 1)
    found = restored(setup, scan.image)
    strength = [
        dctn(second(setup, target, LINES), norm="ortho")[0, 128]
        for target in (reference(wave, FINE_UM), reference(found.data, found.pixel_size_um))
    ]
    assert strength[1] / strength[0] == pytest.approx(1, abs=0.005)


def test_noise_alone_is_not_restored() -> None:
    """White noise over an even level leaves the level: under 1 % of its power passes."""
    rng = np.random.default_rng(2)
    image = 0.5 + 0.02 * rng.standard_normal((128, 128))
    fy = np.arange(128) / 256
    transfer = np.sinc(fy)[:, np.newaxis] * np.sinc(fy)
    back = restore(image, transfer, NoisePower(variance=0.02**2))
    # each average of 121 powers is over the threshold of 3 standard errors with a chance of 0.3 %
    assert back.noise_variance < 0.01 * 0.02**2
    assert back.cosines[0, 0] == pytest.approx(image.sum() / 128)


def test_streaks_are_taken_for_what_they_are() -> None:
    """Columns that differ by the station's own pattern are levelled where that is known."""
    rng = np.random.default_rng(4)
    streaks = 0.01 * rng.standard_normal(128)
    image = 0.5 + streaks + 0.002 * rng.standard_normal((128, 128))
    even = np.ones((128, 128))
    known = restore(image, even, NoisePower(variance=0.002**2, of_columns=0.01**2))
    unknown = restore(image, even, NoisePower(variance=0.002**2))
    places = np.arange(128.0)
    left = [np.std(sampled(each.cosines, places, places).mean(axis=0)) for each in (known, unknown)]
    assert left[0] < 0.3 * left[1]


def test_a_station_says_what_stays_in_its_target() -> None:
    """Ripple, a lens that differs along the line, distortion, clipping: each is a caution."""
    setup = of(
        transport={"speed_ripple": 0.01},
        lens={"distortion": 0.01, "blur": ["1 um", "2 um", "4 um"]},
    )
    image = np.full((LINES, 160), 8000, dtype=np.uint16)
    image[:4] = setup.full_scale_dn
    codes = {each.code for each in restored(setup, image).cautions}
    assert {"lines_moved", "lens_uneven", "distorted", "clipped"} <= codes


@pytest.mark.parametrize(
    ("changes", "shape", "told"),
    [
        ({}, (LINES, 159), "read 160 x 159 samples"),
        ({}, (8, 160), "at least 32 lines and columns"),
        ({}, (LINES, 160, 3), "read 160 x 160 x 3 samples"),
        ({"light": {"illuminance": "0 lx"}}, (LINES, 160), "no light reaches the sensor"),
        ({"light": {"edge_falloff": 1.0}}, (LINES, 160), "the ends of the line get"),
    ],
)
def test_scans_that_cannot_be_restored_are_refused(
    changes: dict[str, dict[str, Any]], shape: tuple[int, ...], told: str
) -> None:
    """What was read and what is expected, in a sentence."""
    with pytest.raises(InputError, match=told):
        restored(of(**changes), np.full(shape, 500, dtype=np.uint16))


def test_a_colour_station_is_refused() -> None:
    """One channel alone is restored."""
    setup = of(camera={"kind": "three-line", "line_spacing": "20 um"})
    with pytest.raises(InputError, match="a colour scan is no target yet"):
        restored(setup, np.zeros((LINES, 160, 3), dtype=np.uint16))


def test_the_scan_is_left_alone() -> None:
    """A scan that may not be written to is restored all the same."""
    image = np.full((LINES, 160), 3000, dtype=np.uint16)
    image.setflags(write=False)
    assert restored(of(), image).data.shape == (4 * LINES, 640)
