"""
Cut anew, folded and packed, a banded matrix still gives the same product with any reference.

The kernels take matrices in these forms; here plain numpy applies them, in float64, so that only
the float32 of the weights is between the two: 6·10⁻⁸ of each product.
"""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.device.tables import Band
from linesim.forward.device.tiles import (
    Tiles,
    best_size,
    cut,
    even_places,
    folded,
    runs,
    window,
    wrapped,
)
from linesim.forward.sampling.across import brought_inside
from linesim.setup.arrays import FloatArray

OUTPUTS, TERMS, SEEN, TOTAL = 41, 2, 9, 140


def band(step: float) -> Band:
    """Make outputs at even distances, three kinds of weights, some beyond both ends."""
    rng = np.random.default_rng(3)
    return Band(
        first=np.floor(step * np.arange(OUTPUTS)).astype(np.intp) - 6,
        which=np.arange(OUTPUTS) % 3,
        taps=rng.random((3, TERMS, SEEN)).astype(np.float32),
    )


def straight(given: Band, seen: FloatArray, *, repeat: bool) -> FloatArray:
    """Apply a band output by output, of shape (terms, outputs)."""
    place = given.first[:, None] + np.arange(given.taps.shape[2])
    inside = brought_inside(place, len(seen), repeat=repeat)
    weights = given.taps[given.which].astype(np.float64)
    return np.asarray(np.einsum("otk,ok->to", weights, seen[inside]))


def by_tiles(tiles: Tiles, seen: FloatArray, *, repeat: bool = False) -> FloatArray:
    """Apply dense tiles, of shape (terms, outputs that fill tiles)."""
    place = tiles.low[:, None] + np.arange(tiles.dense.shape[3])
    inside = brought_inside(place, len(seen), repeat=repeat)
    found = np.einsum("ntsk,nk->tns", tiles.dense[tiles.which].astype(np.float64), seen[inside])
    return np.asarray(found.reshape(len(found), -1))


@pytest.mark.parametrize("size", [1, 4, 7, 64])
@pytest.mark.parametrize("repeat", [True, False])
@pytest.mark.parametrize("step", [4.0, 3.3])
def test_tiles_are_the_band(step: float, repeat: bool, size: int) -> None:  # noqa: FBT001 -- a case
    """Whatever the size of a tile, at both ends of the reference too."""
    given, seen = band(step), np.random.default_rng(4).random(TOTAL)
    found = by_tiles(cut(given, size), seen, repeat=repeat)[:, :OUTPUTS]
    assert_allclose(found, straight(given, seen, repeat=repeat), rtol=1e-6)


@pytest.mark.parametrize("moved", [0, -90, 60])
@pytest.mark.parametrize("align", [1, 4])
@pytest.mark.parametrize("step", [4.0, 3.3])
def test_folded_tiles_stay_inside_and_see_the_same(step: float, align: int, moved: int) -> None:
    """The weights of what lies outside are those of the border; whole windows may lie there."""
    given, seen = band(step), np.random.default_rng(5).random(TOTAL)
    given = replace(given, first=given.first + moved)
    found = folded(cut(given, 8), TOTAL, 48, align)
    assert found is not None
    assert found.low.min() >= 0
    assert found.low.max() + 48 <= TOTAL
    assert_array_equal(found.low % align, 0)
    assert_allclose(
        by_tiles(found, seen)[:, :OUTPUTS], straight(given, seen, repeat=False), rtol=1e-6
    )


@pytest.mark.parametrize("step", [4.0, 3.3])
@pytest.mark.parametrize("total", [TOTAL, 40])
def test_wrapped_tiles_start_inside_and_see_the_same(step: float, total: int) -> None:
    """Of a reference that goes around, and on behind its end, however often a line goes around."""
    given, seen = band(step), np.random.default_rng(5).random(total)
    found = wrapped(cut(given, 8), total, 48, 8)
    assert found.low.min() >= 0
    assert found.low.max() < total
    assert_array_equal(found.low % 8, 0)
    longer = np.resize(seen, total + 48)
    assert_allclose(
        by_tiles(found, longer)[:, :OUTPUTS], straight(given, seen, repeat=True), rtol=1e-6
    )


def test_a_small_reference_cannot_be_folded() -> None:
    """A window wider than the reference stays as it is, and so does one with too little room."""
    assert folded(cut(band(4.0), 8), 40, 48, 1) is None
    assert folded(cut(band(4.0), 8), TOTAL, 32, 4) is None


def test_even_outputs_share_their_matrices() -> None:
    """Three kinds of weights, in turn, at even places: tiles of six are all alike but the last."""
    assert len(cut(band(4.0), 6).dense) == 2
    assert window(band(4.0), 6) == 5 * 4 + SEEN


def test_the_size_that_wastes_least_is_taken() -> None:
    """A tile of 6 sees 29, of 7 sees 33, of 8 sees 37: in steps of 32, 6 of 8 lines cost least."""
    assert best_size(band(4.0), 8, 32) == 6
    assert best_size(band(4.0), 8, 37) == 8
    assert best_size(band(4.0), 8, 32, spare=4) == 5


def test_runs_are_even_to_the_slack() -> None:
    """Windows that go back, or drift, are parted; all are there once and in order."""
    low = np.concatenate([np.arange(0, 400, 53) + np.array([0, 1, 0, 2, 0, 1, 0, 1]), [3, 56, 109]])
    found = runs(low, 2)
    assert [each.start for each in found] == [0, *[each.stop for each in found[:-1]]]
    assert found[-1].stop == len(low)
    assert len(found) <= 4
    for each in found:
        even = even_places(low[each])
        assert np.all(np.diff(even, 2) == 0)
        assert np.all(np.diff(even) >= 0)
        assert np.all((low[each] - even >= 0) & (low[each] - even <= 2))


def test_packed_halves_keep_22_bits() -> None:
    """High and low add up to the scaled weight: rounding of a half is 2⁻¹¹ of it, twice."""
    torch = pytest.importorskip("torch", reason="the extra torch is not installed")
    from linesim.forward.device.packing import Room, packed, scale_for  # noqa: PLC0415 -- extra

    given = cut(band(4.0), 8)
    found = packed(given, Room(size=16, step=32, total=TOTAL), torch.device("cpu"))
    inner = folded(given, TOTAL, found.seen, 1)
    assert inner is not None
    whole = found.parts[0].numpy().astype(np.float64).sum(axis=2) / found.scale
    assert whole.shape == (len(inner.dense), TERMS, 16, found.seen)
    assert np.all(whole[:, :, 8:] == 0)
    assert_allclose(whole[:, :, :8], inner.dense, rtol=2.0**-22, atol=2.0**-25 / found.scale)
    assert 2.0**12 <= scale_for(0.3) * 0.3 < 2.0**13


@pytest.mark.parametrize("repeat", [True, False])
@pytest.mark.parametrize("columns", [TOTAL, 30])
def test_a_reference_lies_split(columns: int, repeat: bool) -> None:  # noqa: FBT001 -- a case
    """Its halves add up to it, and every window lies within what goes on behind its end."""
    torch = pytest.importorskip("torch", reason="the extra torch is not installed")
    from linesim.forward.device.launch import Form, kernels  # noqa: PLC0415 -- extra

    plane = torch.rand((1500, columns), generator=torch.Generator().manual_seed(1))
    form = Form(columns=16, columns_at_once=32)
    made = kernels(plane, band(4.0), repeat=repeat, form=form).split()
    whole = made.plane.numpy().astype(np.float64).sum(axis=0) / made.scale
    inside = brought_inside(np.arange(whole.shape[1]), columns, repeat=repeat)
    assert_allclose(whole, plane.numpy()[:, inside], rtol=2.0**-22, atol=2.0**-25 / made.scale)
    assert int(made.columns.low.max()) + made.columns.seen <= whole.shape[1]
    assert made.columns.inside
    assert made.halves() is made.plane


def test_a_chip_gets_the_form_that_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wide steps where they were measured, on chips of kind 9.0; elsewhere those of less room."""
    torch = pytest.importorskip("torch", reason="the extra torch is not installed")
    from linesim.forward.device.launch import Form, form_for  # noqa: PLC0415 -- extra

    assert form_for(torch.device("cpu")) == Form()
    for kind, columns in (((9, 0), 128), ((8, 6), 64)):
        monkeypatch.setattr(torch.cuda, "get_device_capability", lambda _, kind=kind: kind)
        assert form_for(torch.device("cuda")) == Form(columns_at_once=columns)
