"""Windows that lie evenly apart in memory, and products over many of them in one call."""

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.sampling import along_products as products_module
from linesim.forward.sampling.across import AcrossPlan, across_tiles
from linesim.forward.sampling.along import AlongTable
from linesim.forward.sampling.along_products import Product, along_products, seen_rows
from linesim.forward.sampling.sampler import FOLD, Sampler
from linesim.forward.sampling.windows import across, down, even_runs, even_starts, roomy
from linesim.forward.sampling.zones import Sides, Zone
from linesim.forward.spread import Spread, footprint
from linesim.forward.transport import steady_lines
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.load import sample_setup, setup_from

ROWS, WIDTH = 7, 5


@pytest.mark.parametrize("step", [4.0, 52.8, 13.2, 16.0, 0.3, 105.61803])
@pytest.mark.parametrize("slack", [0, 2, 8])
def test_windows_start_early_by_no_more_than_the_slack(step: float, slack: int) -> None:
    """Each start at or before the wanted one; with slack the runs are longer than without."""
    wanted = np.floor(np.arange(100) * step - 7).astype(np.intp)
    starts = even_starts(wanted, slack)
    assert ((wanted - starts) >= 0).all()
    assert ((wanted - starts) <= slack).all()
    count = len(list(even_runs(starts, 16)))
    assert count <= len(list(even_runs(wanted, 16)))
    if slack == 8:  # a fraction of up to a half adds up to 8 over 16 windows: 7 runs for 100
        assert count <= 7 + 6  # one window between two runs may make a run of its own


@pytest.mark.parametrize(
    "starts",
    [[5], [0, 4, 8, 12], [0, 4, 8, 13, 18, 18, 18, 3, 0], [9, 9, 9], [7, 6, 5, 8, 11]],
)
def test_runs_cover_all_windows_once(starts: list[int]) -> None:
    """In order, none twice, each at its even distance, and no longer than asked."""
    found = list(even_runs(np.array(starts), 3))
    assert [k for part, _ in found for k in range(part.start, part.stop)] == list(
        range(len(starts))
    )
    for part, step in found:
        own = np.array(starts[part])
        assert len(own) <= 3
        assert_array_equal(own, own[0] + step * np.arange(len(own)))


def test_views_are_the_slices_that_they_stand_for() -> None:
    """Rows 2 to 7, 5 to 10 and 8 to 13; columns 0 to 5, 3 to 8, 6 to 11 of two terms; no copy."""
    block = roomy(20, 30)
    block[:] = np.arange(600).reshape(20, 30)
    below, beside = down(block, 2, 3, (3, 5)), across(block, 2, 3, (3, 5))
    for k in range(3):
        assert_array_equal(below[k], block[2 + 3 * k : 7 + 3 * k])
        for term in range(2):
            assert_array_equal(beside[term, k], block[term::2, 3 * k : 5 + 3 * k])
    assert np.shares_memory(below, block)
    assert np.shares_memory(beside, block)
    assert not below.flags.writeable


def test_windows_never_show_memory_of_others() -> None:
    """One row or column too far is refused, on either side."""
    block = roomy(20, 30)
    for first, step, shape in ((11, 3, (3, 4)), (-1, 3, (3, 4)), (0, 9, (3, 3))):
        with pytest.raises(ValueError, match="do not lie in a block of 20"):
            down(block, first, step, shape)
    with pytest.raises(ValueError, match="do not lie in a block of 30"):
        across(block, 2, 9, (3, 13))


@pytest.mark.parametrize("columns", [1, 16, 17, 64, 16384])
def test_rows_of_a_roomy_block_lie_an_odd_number_of_cache_lines_apart(columns: int) -> None:
    """64 bytes a line."""
    block = roomy(3, columns)
    assert block.shape == (3, columns)
    assert block.strides[0] % 128 == 64


def dense(target: FloatArray | ImageArray, starts: FloatArray, side: float) -> FloatArray:
    """Box pixels on a target of 1 µm pixels along its first axis: differences of running sums."""
    total = np.concatenate([np.zeros((1, target.shape[1])), np.cumsum(target, axis=0, dtype=float)])
    edges = np.arange(len(total))

    def to(place: FloatArray) -> FloatArray:
        return np.stack([np.interp(place, edges, column) for column in total.T], axis=1)

    return np.asarray((to(starts + side) - to(starts)) / side)


@pytest.mark.parametrize("ratio", [1.0, 2.5, 3.3, 4.0, np.pi, 9.75])
def test_many_tiles_in_one_call_are_the_plain_sums(ratio: float) -> None:
    """
    Whole, fractional and odd ratios, over more tiles than a run holds: box pixels to 2e-5.

    The lens makes ramps of 1e-5 of a pixel of an end. Only a reference edge inside one tells it
    from a step, by an eighth of that, for two ends each way: 5e-6, and 1e-5 where the profile
    counts 1.5. float32 adds 6e-8 for each of the sums' few steps.
    """
    columns, lines = 600, 70
    size = int(np.ceil(ratio * columns)) + 3, int(np.ceil(ratio * lines)) + 3
    target = np.random.default_rng(5).random((size[1], size[0])).astype(np.float32)
    point = ratio / 100_000
    foot = footprint(Spread(period_um=point, amplitude=np.ones(1), step_um=point), ratio)
    left, top = (0.41 + ratio * np.arange(n, dtype=np.float64) for n in (columns, lines))
    reference = ArrayReference(data=target, pixel_size_um=1.0)
    factor = np.linspace(0.5, 1.5, columns).astype(np.float32)
    zone = Zone(first=0, last=columns, sides=Sides(across=(foot,), along=(foot,), weights=(1.0,)))
    plan = AcrossPlan(zones=(zone,), axis_um=0.0, left_um=left, side_um=ratio, profile=factor)
    sampler = Sampler(
        reference=reference,
        repeat=False,
        bands=np.ones(3, dtype=np.float32),
        zones=((foot,),),
        side_um=ratio,
        tiles=across_tiles(plan, reference),
    )
    seen = sampler.strip(steady_lines(top, np.zeros(lines)))
    along = dense(target, top, ratio)
    wanted = dense(along.T, left, ratio).T * factor
    assert_allclose(seen, wanted, atol=2e-5)


@pytest.mark.parametrize("low", [-60, -20, -3, 0, 4])
def test_folded_rows_give_the_same_product(low: int) -> None:
    """
    Border rows that go on for ever, or their weights summed beforehand: one number.

    Sums of 50 numbers under 1 in single precision: 50 half steps of 2**-24 each, relative to 50.
    """
    noise = np.random.default_rng(3)
    reference = ArrayReference(
        data=noise.random((ROWS, WIDTH), dtype=np.float32), pixel_size_um=1.0
    )
    weights = noise.random((2, 8, 50), dtype=np.float32)
    table = AlongTable(low=np.array([low, low + 3]), weights=weights, terms=2)
    first = int(table.low.min())
    seen, origin = seen_rows(reference, first, table.high, repeat=False)
    plain, folded = np.empty((2, 16, WIDTH), dtype=np.float32)
    along_products([Product(table, seen, origin, 0, plain)], repeat=False)
    shorter = table.folded(ROWS)
    along_products([Product(shorter, reference.data, 0, 0, folded)], repeat=False)
    assert shorter.high == ROWS
    assert_allclose(folded, plain, rtol=0, atol=50 * 50 * 2.0**-24)


def product_of(seen: ImageArray, low: int, origin: int) -> ImageArray:
    """Multiply rows 3 to 39 of a reference, of its columns from one on, in four tiles."""
    weights = np.random.default_rng(6).random((4, 8, 24), dtype=np.float32)
    table = AlongTable(low=np.array([3, 7, 11, 15]), weights=weights, terms=2)
    into = np.empty((32, 700), dtype=np.float32)
    along_products([Product(table, seen, origin, low, into)], repeat=False)
    return into


@pytest.mark.parametrize("low", [-350, -1, 0, 100, 101, 450, 900])
@pytest.mark.parametrize("origin", [0, 3, 5])
def test_rows_in_place_give_the_bytes_of_copied_ones(low: int, origin: int) -> None:
    """Every second column of a wider array cannot be multiplied where it lies."""
    seen = np.random.default_rng(7).random((60, 800), dtype=np.float32)
    apart = np.repeat(seen, 2, axis=1)[:, ::2]
    found = product_of(seen, low, origin)
    assert_array_equal(found, product_of(apart, low, origin))
    # as plain sums: 24 products under 1, each rounded at most once in a sum under 24
    at = np.clip(np.arange(low, low + 700), 0, 799)
    rows = np.clip(np.arange(11, 11 + 24) - origin, 0, 59)
    weights = np.random.default_rng(6).random((4, 8, 24), dtype=np.float32)[2]
    wanted = weights.astype(float) @ seen[np.ix_(rows, at)].astype(float)
    assert_allclose(found[16:24], wanted, rtol=0, atol=24 * 24 * 2.0**-24)


def test_a_single_channel_copies_no_row_that_lies_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only memory of other kinds is brought into order: backwards, by columns, bytes swapped."""
    take, taken = products_module._take, []  # noqa: SLF001 -- what costs time is watched

    def noted(seen: ImageArray, low: tuple[int, int], into: ImageArray, *, repeat: bool) -> None:
        taken.append(low)
        take(seen, low, into, repeat=repeat)

    monkeypatch.setattr(products_module, "_take", noted)
    seen = np.random.default_rng(7).random((60, 800), dtype=np.float32)
    wanted = product_of(seen, 50, 0)
    assert not taken
    backwards = np.ascontiguousarray(seen[:, ::-1])[:, ::-1]
    for other in (backwards, np.asfortranarray(seen), seen.astype(">f4")):
        taken.clear()
        assert_array_equal(product_of(other, 50, 0), wanted)
        assert len(taken) == 2  # blocks of 350 columns


def small_aperture() -> dict[str, Any]:
    """Describe a station whose lens spreads light over many times its target."""
    texts = {name: part for name, part in sample_setup().texts.items() if name != "requirement"}
    return {
        **texts,
        "target": {**texts["target"], "image": "flat", "pixel_size": "20 um"},
        "lens": {"magnification": 0.1, "f_number": 64.0},
        "camera": {**texts["camera"], "pixels": 16, "pixel_width": "7.5 um"},
    }


def test_the_first_lines_are_those_of_a_longer_scan() -> None:
    """Where border rows are folded too, no line depends on how many follow."""
    assert FOLD * 60 * 20 < 40 * 0.574 * 64 * 1.1 / 0.1  # 40 λN_w/m, and 60 rows of 20 µm: folded
    setup = setup_from(small_aperture())
    noise = np.random.default_rng(4).random((60, 60), dtype=np.float32)
    reference = ArrayReference(data=noise, pixel_size_um=20.0)
    found = [render(setup, reference, lines, seed=1).expected_e for lines in (5, 70)]
    assert_array_equal(found[0], found[1][:5])
