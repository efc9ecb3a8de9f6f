"""Behaviour of the noise kernel; its distributions are checked in tests/outside."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from numpy.random import SFC64, Generator, SeedSequence
from numpy.testing import assert_allclose, assert_array_equal

from linesim.forward import draws as sampler
from linesim.setup.arrays import ImageArray

READ_NOISE_E = 6.0

Draw = Callable[[ImageArray, Generator], None]


def _add_read_noise(block: ImageArray, rng: Generator) -> None:
    sampler.add_normal_in_place(block, READ_NOISE_E, rng)


def _shot_and_read(block: ImageArray, rng: Generator) -> None:
    sampler.poisson_plus_normal_in_place(block, READ_NOISE_E, rng)


def _shot_and_little_read(block: ImageArray, rng: Generator) -> None:
    sampler.poisson_plus_normal_in_place(block, 1.0, rng)


DRAWS: list[Draw] = [
    sampler.poisson_in_place,
    _add_read_noise,
    _shot_and_read,
    _shot_and_little_read,
]
every_draw = pytest.mark.parametrize("draw", DRAWS)


def _rng(*key: int) -> Generator:
    return Generator(SFC64(SeedSequence(20, spawn_key=key)))


def _gradient(rows: int, columns: int) -> ImageArray:
    """Means from 0 to twice the threshold, across each row."""
    across = np.linspace(0, 2 * sampler.BRIGHT_E, columns, dtype=np.float32)
    return np.repeat(across[np.newaxis], rows, axis=0)


@every_draw
def test_same_generator_gives_same_bytes(draw: Draw) -> None:
    """Two calls agree; another seed does not."""
    blocks = [_gradient(3, 1001) for _ in range(3)]
    for block, key in zip(blocks, (1, 1, 2), strict=True):
        draw(block, _rng(key))
    assert_array_equal(blocks[0], blocks[1])
    assert (blocks[0] != blocks[2]).any()


@every_draw
def test_threads_do_not_change_the_noise(draw: Draw) -> None:
    """Blocks drawn by two threads at once equal those drawn one after the other."""
    serial = np.stack([_gradient(40, 1000) for _ in range(6)])
    threaded = serial.copy()
    for i, block in enumerate(serial):
        draw(block, _rng(i))
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(lambda i: draw(threaded[i], _rng(i)), range(6)))
    assert_array_equal(threaded, serial)


@every_draw
def test_shape_does_not_matter(draw: Draw) -> None:
    """A block is walked through in memory order, whatever its shape."""
    flat, deep = _gradient(6, 50).reshape(-1), _gradient(6, 50).reshape(2, 3, 50)
    draw(flat, _rng())
    draw(deep, _rng())
    assert_array_equal(deep.reshape(-1), flat)


@every_draw
def test_pieces_cover_the_block(draw: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    """With pieces of 64, 130 samples are drawn as 64, 64 and 2 from one generator."""
    monkeypatch.setattr(sampler, "CHUNK", 64)
    whole = _gradient(1, 130)
    parts = whole.copy()
    draw(whole, _rng())
    rng = _rng()
    for first, last in ((0, 64), (64, 128), (128, 130)):
        draw(parts[:, first:last].reshape(-1), rng)
    assert_array_equal(parts, whole)


@every_draw
def test_empty_block_draws_nothing(draw: Draw) -> None:
    """No sample, no random number."""
    rng = _rng()
    draw(np.empty((0, 4), dtype=np.float32), rng)
    assert rng.random() == _rng().random()


@every_draw
def test_refuses_a_block_it_would_have_to_copy(draw: Draw) -> None:
    """Every second column is no contiguous block: writing in place would go to a copy."""
    with pytest.raises(ValueError, match="C-contiguous"):
        draw(_gradient(4, 8)[:, ::2], _rng())


def test_no_light_gives_exactly_zero() -> None:
    """A mean of 0 has no shot noise, in the dark and beside bright samples."""
    block = np.zeros(10_000, dtype=np.float32)
    block[::3] = 1000.0
    sampler.poisson_in_place(block, _rng())
    assert not block[1::3].any()
    assert not block[2::3].any()
    assert block[::3].all()


def test_counts_are_whole_numbers_and_never_negative() -> None:
    """Counts, on both sides of the threshold, up to a million electrons."""
    block = np.geomspace(1e-3, 1e6, 200_000, dtype=np.float32)
    sampler.poisson_in_place(block, _rng())
    assert_array_equal(block, np.floor(block))
    assert block.min() == 0


def test_extreme_normals_give_counts() -> None:
    """The farthest normals there are (±6.77) neither fold back nor go below zero."""
    normals = np.linspace(-6.77, 6.77, 1001, dtype=np.float32)
    for mean in (sampler.BRIGHT_E, 100.0, 1e6):
        counts = np.full(normals.shape, mean, dtype=np.float32)
        sampler.poisson_quantile(counts, np.stack([normals] * 3))
        assert counts[0] >= 0
        assert (np.diff(counts) >= 0).all()


def test_no_read_noise_changes_nothing_and_draws_nothing() -> None:
    """Standard deviation 0: the block and the generator stay as they were."""
    block, rng = _gradient(2, 100), _rng()
    sampler.add_normal_in_place(block, 0.0, rng)
    assert_array_equal(block, _gradient(2, 100))
    assert rng.random() == _rng().random()


def test_without_read_noise_the_sum_is_the_count() -> None:
    """Standard deviation 0: the same counts as from the shot noise alone."""
    both, shot = _gradient(2, 100), _gradient(2, 100)
    sampler.poisson_plus_normal_in_place(both, 0.0, _rng())
    sampler.poisson_in_place(shot, _rng())
    assert_array_equal(both, shot)


@pytest.mark.parametrize("size", [1, 2, 7, 8])
def test_odd_and_even_rows_are_filled(size: int) -> None:
    """Normals come in pairs; of the last pair of an odd row one is dropped."""
    out = np.full(size, np.nan, dtype=np.float32)
    sampler.fill_standard_normal(out, _rng())
    assert np.isfinite(out).all()
    assert np.unique(out).size == size


def test_least_and_greatest_words() -> None:
    """First pair: u = 2⁻³³ at a quarter turn; second: u = 1, so a radius of 0. float32 angles."""
    out = np.empty(4, dtype=np.float32)
    sampler.normals_from_words(np.array([0, 2**32 - 1, 2**30, 0], dtype=np.uint32), out)
    assert_allclose(out, [0, 0, np.sqrt(66 * np.log(2)), 0], rtol=1e-6, atol=1e-6)
