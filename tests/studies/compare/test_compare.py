"""Variants side by side: each is the scan that it would be alone, and fewer or more are refused."""

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from PIL import Image

import linesim
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.studies.compare.study import compare, compared
from linesim.studies.compare.variants import BINNINGS, Variant, binning_variants
from linesim.studies.scan import memory
from linesim.studies.scan.study import needed, scan
from linesim.targets.load import target_size
from linesim.workers.runners import processes
from linesim.workers.tasks import Alone, Pool, Runner
from tests.stations import plain_setup

BASE = plain_setup(
    "Compare",
    target={"image": "foil", "width": "8 mm", "height": "6 mm"},
    light={"illuminance": "4 klx"},
    camera={"pixels": 96, "read_noise": "20 e", "prnu": 0.01},
    requirement={"smallest_defect": "300 um", "snr": 30},
)


@pytest.mark.parametrize("image", ["foil", "flat", "edge"])
def test_a_variant_is_the_scan_that_it_would_be_alone(image: str) -> None:
    """The same samples and the same figures, measured ones too, though the target is drawn once."""
    setup = changed(BASE, {"target.image": image})
    found = compare(setup, seed=3)
    for one, variant in zip(found.variants, binning_variants(setup, BINNINGS), strict=True):
        alone = scan(variant.setup, seed=3)
        assert_array_equal(one.scan.image, alone.image)
        assert one.scan.metrics() == alone.metrics()
        assert one.title == variant.title


def test_the_same_seed_gives_the_same_samples_on_any_threads() -> None:
    """Another seed gives other ones."""
    first, again = (compare(BASE, ("1x1", "2x2"), 1, workers=count) for count in (1, 3))
    for one, same in zip(first.variants, again.variants, strict=True):
        assert_array_equal(one.scan.image, same.scan.image)
    other = compare(BASE, ("1x1", "2x2"), 2)
    assert np.mean(first.variants[1].scan.image != other.variants[1].scan.image) > 0.5


def test_the_mean_of_the_image_follows_the_electrons() -> None:
    """
    Four times the electrons at the same time, eight at the full period, in the samples themselves.

    On flat the mean above black is electrons times gain. Its standard error is noise / √samples:
    under 3 e on 844 e with 96 x 80 samples, and under that for more electrons; five of each.
    """
    setup = changed(BASE, {"target.image": "flat", "camera.prnu": 0.0})
    for exposure, ratio in (("same", 4), ("full", 8)):
        found = compare(setup, ("1x1", "2x2"), 5, exposure=exposure)
        means, errors = [], []
        for one in found.variants:
            signal = one.scan.budget["signal"]
            samples = one.scan.image.astype(np.float64) - setup.camera.black_level_dn
            means.append(samples.mean() / setup.gain_dn_e)
            errors.append(float(signal["noise_white_e"]) / np.sqrt(samples.size))
        spread = ratio * np.hypot(errors[0] / means[0], errors[1] / means[1])
        assert means[1] / means[0] == pytest.approx(ratio, abs=5 * spread)


def test_texts_with_a_key_are_changes() -> None:
    """Binning modes and changed keys are told apart; ready variants are taken as they are."""
    by_key = compare(BASE, ["acquisition.binning=2x2"])
    assert [one.title for one in by_key.variants] == ["as it is", "binning 2x2"]
    ready = compare(
        BASE,
        [
            Variant(title="slow", setup=changed(BASE, {"transport.speed": "30 m/min"})),
            Variant(title="fast", setup=BASE),
        ],
    )
    assert [one.title for one in ready.variants] == ["slow", "fast"]
    assert [one.scan.image.shape for one in ready.variants] == [(80, 96), (80, 96)]
    assert [one.scan.image.shape for one in by_key.variants] == [(80, 96), (40, 48)]


@pytest.mark.parametrize(
    "given", [["2x2", "lens.f_number=2"], ["2x2", Variant(title="a", setup=BASE)]]
)
def test_kinds_are_not_mixed(given: Sequence[str | Variant]) -> None:
    """Modes beside changed keys leave open what a mode is a mode of."""
    with pytest.raises(InputError, match="several kinds"):
        compare(BASE, given)


@pytest.mark.parametrize(
    ("given", "count"),
    [([], 0), (["2x2"], 1), (["1x1", *(f"{n}x2" for n in "1234"), "3x3", "4x4"], 7)],
)
def test_a_comparison_has_two_to_six(given: list[str], count: int) -> None:
    """One stands beside nothing, seven beside too much."""
    with pytest.raises(InputError, match=f"variants: read {count}, but a comparison has 2 to 6"):
        compare(BASE, given)


def test_a_variant_that_cannot_run_is_named() -> None:
    """A refusal that comes late says of which variant it is."""
    late = Variant(title="late", setup=changed(BASE, {"camera.dead_time": "1 ms"}))
    with pytest.raises(InputError, match=r'variant "late": camera\.dead_time'):
        compared("", [Variant(title="fine", setup=BASE), late])


def test_progress_is_told_before_each_scan() -> None:
    """How many are done, of how many."""
    told: list[tuple[int, int]] = []
    compared(
        "",
        binning_variants(BASE, ("1x1", "2x2")),
        progress=lambda done, all_: told.append((done, all_)),
    )
    assert told == [(0, 2), (1, 2)]


def test_one_that_meets_all_is_enough() -> None:
    """An SNR of 10 on the product is missed by 1x1 at this light and reached by 2x2."""
    asked = changed(BASE, {"requirement.snr": 10, "requirement.smallest_defect": None})
    found = compare(asked, ("1x1", "2x2"))
    snr = [float(one.scan.budget["signal"]["snr_product"]) for one in found.variants]
    assert snr[0] < 10 < snr[1]
    assert [one.meets_all for one in found.variants] == [False, True]
    assert found.any_meets_all
    none = compare(changed(BASE, {"requirement.snr": 1000}), ("1x1", "2x2"))
    assert not none.any_meets_all


def test_the_public_name_is_this_function() -> None:
    """`linesim.compare`, found when it is first asked for."""
    assert linesim.compare is compare
    assert "compare" in linesim.__all__


@pytest.fixture(scope="module")
def pair() -> Iterator[Runner]:
    """Lend two processes at night; by day what counts and is told like two, without their start."""
    with processes(2) if "LINESIM_NIGHTLY" in os.environ else nullcontext(lent(here=2)) as runner:
        yield runner


def lent(before: Callable[[], object] = lambda: None, here: int = 0) -> Runner:
    """Lend workers, of which those on another machine must get the target by themselves."""

    def submit(work: Callable[[Any], Any], task: object) -> "Future[Any]":
        before()
        done: Future[Any] = Future()
        try:
            done.set_result(work(task))
        except InputError as refusal:
            done.set_exception(refusal)
        return done

    return Pool(submit=submit, ended=set, workers=max(here, 1), here=here)


@pytest.mark.parametrize("image", ["foil", "flat", "foil.png"])
def test_workers_change_no_byte(image: str, pair: Runner, tmp_path: Path) -> None:
    """Drawn, read by its name, or read from a file; by workers that share it, and that do not."""
    Image.fromarray(np.arange(120 * 160, dtype=np.uint32).astype(np.uint8).reshape(120, 160)).save(
        tmp_path / "foil.png"
    )
    sides: dict[str, object] = {"target.width": None, "target.height": None}
    changes = {"target.image": image, **(sides if image.endswith("png") else {})}
    setup = changed(setup_from(BASE.texts, tmp_path), changes)
    variants = binning_variants(setup, ("1x1", "2x1", "2x2"))
    alone = compared("", variants, 3)
    told: list[tuple[int, int]] = []
    for runner in (pair, lent()):
        found = compared("", variants, 3, runner=runner, progress=lambda *each: told.append(each))
        assert found.metrics() == alone.metrics()
        for one, same in zip(found.variants, alone.variants, strict=True):
            assert_array_equal(one.scan.image, same.scan.image)
            assert_array_equal(one.scan.expected_e, same.scan.expected_e)
    assert told == [(0, 3), (1, 3), (2, 3)] * 2


def test_a_file_that_changes_is_refused(tmp_path: Path) -> None:
    """A worker that reads another target than this process, or none, says so."""
    file = tmp_path / "a.png"
    Image.fromarray(np.full((300, 400), 99, dtype=np.uint8)).save(file)
    setup = changed(
        setup_from(BASE.texts, tmp_path),
        {"target.image": "a.png", "target.width": None, "target.height": None},
    )
    variants = binning_variants(setup, ("1x1", "2x2"))
    for change in (lambda: file.write_bytes(b"another"), lambda: file.unlink(missing_ok=True)):
        with pytest.raises(
            InputError, match=r'target\.image: read "a\.png", which is not the same'
        ):
            compared("", variants, runner=lent(change))
        Image.fromarray(np.full((300, 400), 99, dtype=np.uint8)).save(file)


def test_a_refusal_of_a_worker_names_the_variant(pair: Runner) -> None:
    """The same sentence as without workers: a rate that leaves no time to expose."""
    late = Variant(title="late", setup=changed(BASE, {"camera.dead_time": "1 ms"}))
    told = []
    for runner in (None, pair):
        with pytest.raises(InputError) as refusal:
            compared("", [Variant(title="fine", setup=BASE), late], runner=runner)
        told.append(refusal.value.faults)
    assert told[0] == told[1]


def test_memory_of_all_workers_is_counted(pair: Runner, monkeypatch: pytest.MonkeyPatch) -> None:
    """
    What suffices here does not for two workers, each with tables of its own and its scan twice.

    Two of them work: twice the work of one thread, four scans, one on its way, and both kept here.
    """
    variants = binning_variants(BASE, ("1x1", "2x1"))
    asked = [needed(one.setup, target_size(one.setup), workers=1)[0] for one in variants]
    most = max(asked, key=lambda each: each.work)
    alone = sum(each.result for each in asked) + most.target + most.work
    both = alone + most.work + 5 * max(each.result for each in asked)
    monkeypatch.setattr(memory, "available", lambda: both - 1)
    compared("", variants, runner=Alone(threads=1))
    with pytest.raises(InputError, match="--force goes on all the same; fewer workers need less"):
        compared("", variants, runner=pair)
    compared("", variants, runner=pair, force=True)
    monkeypatch.setattr(memory, "available", lambda: both)
    compared("", variants, runner=pair)
