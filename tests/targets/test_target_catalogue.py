"""Names, defaults, refusals, and what every built-in target must keep."""

import pickle
from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.forward.reference import Reference
from linesim.setup.errors import InputError
from linesim.targets.bars import bars
from linesim.targets.catalogue import BUILT_INS, BuiltIn, built_in, make
from linesim.targets.foil import foil
from linesim.targets.star import star
from linesim.targets.tile import tile

EVERY = pytest.mark.parametrize("entry", BUILT_INS, ids=lambda entry: entry.name)


@EVERY
def test_left_out_sizes_are_the_targets_own(entry: BuiltIn) -> None:
    """Shape and pixel size follow from the description alone."""
    reference = make(entry.name)
    pixel_mm = entry.pixel_size_um / 1000
    size = (round(entry.height_mm / pixel_mm), round(entry.width_mm / pixel_mm))
    assert reference.shape == ((*size, 3) if entry.colour else size)
    assert reference.pixel_size_um == entry.pixel_size_um


@EVERY
def test_rows_are_the_same_in_any_block(entry: BuiltIn) -> None:
    """Rows asked for one by one, in blocks or all at once hold the same bytes."""
    reference = make(entry.name, pixel_size_um=entry.pixel_size_um * 4)
    whole = reference.rows(0, reference.shape[0])
    assert whole.dtype == np.float32
    assert whole.shape == reference.shape
    for first, last in ((0, 1), (17, 18), (63, 201), (5, 5), (reference.shape[0] - 3, 10**6)):
        assert_array_equal(reference.rows(first, last), whole[first:last])


@EVERY
def test_same_arguments_same_bytes(entry: BuiltIn) -> None:
    """A target made twice, or sent to another process, is one and the same."""
    once, again = (make(entry.name, pixel_size_um=entry.pixel_size_um * 4) for _ in range(2))
    sent = pickle.loads(pickle.dumps(once))  # noqa: S301 -- our own bytes
    assert once.rows(40, 80).tobytes() == again.rows(40, 80).tobytes()
    assert once.rows(40, 80).tobytes() == sent.rows(40, 80).tobytes()


@EVERY
def test_reflectances_are_possible(entry: BuiltIn) -> None:
    """A matt surface sends back no more than it gets; only ``flat`` is a perfect white."""
    reference = make(entry.name, pixel_size_um=entry.pixel_size_um * 4)
    image = reference.rows(0, reference.shape[0])
    assert image.min() > 0
    assert image.max() <= (1.0 if entry.name == "flat" else 0.9)


def test_flat_is_one_and_holds_no_pixels() -> None:
    """A flat of 4 Tpixel is made at once; any of its rows is 1."""
    reference = make("flat", pixel_size_um=1.0, width_mm=400.0, height_mm=10_000.0)
    assert reference.shape == (10_000_000, 400_000)
    assert (reference.rows(9_000_000, 9_000_001) == 1).all()


def test_edge_runs_from_dark_to_light() -> None:
    """Light is on the right at 0°, and at the far end of travel at 90°."""
    upright = make("edge", width_mm=2.0, height_mm=1.0, angle_deg=0.0, contrast=8.0).rows(0, 50)
    assert (upright[:, :50] == np.float32(0.1)).all()
    assert (upright[:, 50:] == np.float32(0.8)).all()
    lying = make("edge", width_mm=2.0, height_mm=1.0, angle_deg=90.0).rows(0, 50)
    assert (lying[:25] == np.float32(0.2)).all()
    assert (lying[25:] == np.float32(0.8)).all()


def test_edge_takes_its_angle_and_contrast() -> None:
    """What is asked for differs from the default; the default is 5° and 4:1."""
    default = make("edge").rows(700, 740)
    assert_array_equal(default, make("edge", angle_deg=5.0, contrast=4.0).rows(700, 740))
    assert (default != make("edge", angle_deg=4.0).rows(700, 740)).any()
    assert (default != make("edge", contrast=5.0).rows(700, 740)).any()


@pytest.mark.parametrize(("typed", "meant"), [("edg", "edge"), ("Foil", "foil"), ("bar", "bars")])
def test_an_unknown_name_brings_the_nearest(typed: str, meant: str) -> None:
    """The refusal names what was read and what was probably meant."""
    with pytest.raises(InputError, match=f'"{typed}".*did you mean "{meant}"'):
        built_in(typed)


def test_a_name_like_nothing_brings_the_list() -> None:
    """Without a near name all of them are told."""
    with pytest.raises(InputError, match="flat, edge, bars, star, steps, foil, tile"):
        built_in("qqqqqq")


@pytest.mark.parametrize("bad", [0.0, -1.0, 0.019, float("nan"), float("inf")])
def test_a_side_under_a_pixel_is_refused(bad: float) -> None:
    """The message names the key and the pixel size."""
    with pytest.raises(InputError, match=r"target\.width.*0\.02 mm"):
        make("flat", width_mm=bad)
    with pytest.raises(InputError, match=r"target\.height.*0\.02 mm"):
        make("edge", height_mm=bad)


def test_both_sides_are_refused_in_one_go() -> None:
    """Two faults make two sentences."""
    with pytest.raises(InputError) as caught:
        make("steps", width_mm=0.0, height_mm=0.0)
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize("bad", [0.0, -5.0, float("nan"), float("inf")])
def test_a_pixel_without_size_is_refused(bad: float) -> None:
    """The pixel size must be a positive number."""
    with pytest.raises(InputError, match=r"target\.pixel_size"):
        make("tile", pixel_size_um=bad)


def test_angle_and_contrast_are_the_edges_alone() -> None:
    """A value that would do nothing is refused, not ignored."""
    with pytest.raises(InputError, match=r"target\.angle.*star"):
        make("star", angle_deg=5.0)
    with pytest.raises(InputError, match=r"target\.contrast.*flat"):
        make("flat", contrast=4.0)


@pytest.mark.parametrize("contrast", [1.0, 0.25, float("nan"), float("inf")])
def test_an_edge_needs_a_contrast(contrast: float) -> None:
    """Light over dark is above 1 and finite."""
    with pytest.raises(InputError, match=r"target\.contrast"):
        make("edge", contrast=contrast)


@pytest.mark.parametrize("angle_deg", [90.1, -91.0, float("nan")])
def test_an_edge_angle_stays_within_a_right_angle(angle_deg: float) -> None:
    """Other angles would repeat these with dark and light exchanged."""
    with pytest.raises(InputError, match=r"target\.angle"):
        make("edge", angle_deg=angle_deg)


def test_bars_that_do_not_fit_are_refused() -> None:
    """Too small a target, too coarse a first group, too fine a last one."""
    with pytest.raises(InputError, match="no whole bar group"):
        make("bars", width_mm=1.0, pixel_size_um=20.0)
    with pytest.raises(InputError, match=r"read -2 to 3.*groups -1 to 3"):
        bars(pixel_size_um=10.0, width_mm=40.0, height_mm=40.0, first_group=-2)
    with pytest.raises(InputError, match=r"read -1 to 4.*groups -1 to 3"):
        bars(pixel_size_um=10.0, width_mm=40.0, height_mm=40.0, last_group=4)


@pytest.mark.parametrize(("width_mm", "cycles"), [(1.9, 144), (4.0, 0)])
def test_a_star_that_cannot_show_is_refused(width_mm: float, cycles: int) -> None:
    """The whole star would lie inside the Nyquist ring of its reference, or has no cycles."""
    with pytest.raises(InputError, match="cannot show a star"):
        star(pixel_size_um=20.0, width_mm=width_mm, height_mm=4.0, cycles=cycles)


@pytest.mark.parametrize("scene", [foil, tile])
def test_another_seed_is_another_piece(scene: Callable[..., Reference]) -> None:
    """The seed moves the texture."""
    one, two = (
        scene(pixel_size_um=100.0, width_mm=10.0, height_mm=10.0, seed=seed).rows(0, 100)
        for seed in (0, 1)
    )
    assert (one != two).mean() > 0.5
