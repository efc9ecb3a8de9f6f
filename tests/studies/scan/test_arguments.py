"""What Python hands over in place of a file: a value, or a sentence that says what was due."""

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import linesim
from linesim.forward.reference import ArrayReference
from linesim.setup.errors import InputError
from linesim.setup.load import changed, sample_setup
from linesim.studies.scan.streamed import Manner

SETUP = changed(
    sample_setup(), {"target.image": "flat", "camera.pixels": 32, "acquisition.lines": 8}
)
WHITE = np.ones((8, 40), np.float32)
MASKED = np.ma.masked_greater(np.array([[0.2, 0.9]]), 0.5)

REFERENCES: dict[str, tuple[Any, str]] = {
    "codes": (np.full((8, 8), 200, np.uint8), "array of uint8, whole numbers, which are codes"),
    "codes as floats": (np.full((8, 8), 200.0), "read values from 200 to 200"),
    "whole numbers": ([[0, 1], [1, 0]], "array of int64, whole numbers"),
    "truth values": (WHITE > 0, "array of bool, truth values"),
    "huge": (WHITE * 1e38, "read values from 1e+38 to 1e+38"),
    "beyond float32": (WHITE.astype(float) * 1e300, "read values from 1e+300"),
    "negative": (-WHITE, "read values from -1"),
    "not a number": (WHITE * np.nan, "read values from nan"),
    "complex": (WHITE * 1j, "array of complex64, complex numbers"),
    "masked": (MASKED, "an array with masked values"),
    "dates": (np.array([["2020-01-01"]], "datetime64[D]"), "dates"),
    "times": (np.array([[1]], "timedelta64[s]"), "times"),
    "texts": ([["a"]], "no numbers"),
    "a name": ("foil.png", "no numbers"),
    "ragged": ([[0.1], [0.1, 0.2]], "read what is no array"),
    "one row": (np.ones(8), "array of shape (8,)"),
    "four channels": (np.ones((4, 4, 4)), "array of shape (4, 4, 4)"),
    "two channels": (np.ones((4, 4, 2)), "array of shape (4, 4, 2)"),
    "four axes": (np.ones((2, 2, 3, 1)), "array of shape (2, 2, 3, 1)"),
    "empty": (np.ones((0, 4)), "array of shape (0, 4)"),
    "no pixel": (ArrayReference(data=WHITE, pixel_size_um=0.0), "read a pixel of 0.0 um"),
    "codes held": (ArrayReference(data=WHITE * 200, pixel_size_um=20.0), "read values from 200"),
}
NO_SEED = (-1, 1.5, "a", None, True, np.float64(2), 1 << 300)
NO_WORKERS = (-1, 0, 1.5, "2", True, 10**9)


@pytest.mark.parametrize("name", REFERENCES)
def test_what_is_no_reflectance_is_refused(name: str) -> None:
    """Each in a sentence that names the argument, what was read, and what is due."""
    given, told = REFERENCES[name]
    with pytest.raises(InputError, match=r"^reference: read .*expected") as refusal:
        linesim.scan(SETUP, reference=given)
    assert told in str(refusal.value)


def test_reflectances_of_any_precision_give_one_scan() -> None:
    """Half, single and double precision, lists, and masked arrays without a mask."""
    grey = np.full((8, 40), 0.5)
    first = linesim.scan(SETUP, reference=grey).image
    for same in (
        grey.astype(np.float16),
        grey.astype(np.float32),
        grey.tolist(),
        np.ma.array(grey),
    ):
        np.testing.assert_array_equal(linesim.scan(SETUP, reference=same).image, first)


@pytest.mark.parametrize("seed", NO_SEED, ids=str)
def test_what_is_no_seed_is_refused(seed: Any) -> None:  # noqa: ANN401 -- whatever comes
    """A seed is a whole number from 0 up."""
    with pytest.raises(InputError, match=r"^seed: read .*expected a whole number from 0 up"):
        linesim.scan(SETUP, seed)
    with pytest.raises(InputError, match=r"^seed: read"):
        linesim.compare(SETUP, ("1x1", "2x1"), seed)


def test_whole_numbers_of_numpy_are_seeds() -> None:
    """They give the same bytes, and are told as plain numbers."""
    found = linesim.scan(SETUP, np.int64(3))  # type: ignore[arg-type]
    np.testing.assert_array_equal(found.image, linesim.scan(SETUP, 3).image)
    assert type(found.seed) is int


@pytest.mark.parametrize("workers", NO_WORKERS, ids=str)
def test_what_is_no_number_of_threads_is_refused(workers: Any, tmp_path: Any) -> None:  # noqa: ANN401 -- whatever comes
    """Threads are counted from 1; nothing is written."""
    calls: tuple[Callable[[], object], ...] = (
        lambda: linesim.scan(SETUP, workers=workers),
        lambda: linesim.compare(SETUP, ("1x1", "2x1"), workers=workers),
        lambda: linesim.scan_to_file(SETUP, tmp_path / "a.tif", manner=Manner(workers=workers)),
    )
    for call in calls:
        with pytest.raises(InputError, match=r"^workers: read .*expected a whole number from 1"):
            call()
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("texts", [{1: 2}, {"title": "a", "lens": {2: 3}}, {None: {}}], ids=str)
def test_keys_of_a_setup_are_texts(texts: Any) -> None:  # noqa: ANN401 -- whatever comes
    """Other keys are refused, whoever asks."""
    with pytest.raises(InputError, match=r"^setup: read the key .* but keys are texts"):
        linesim.setup_from(texts)


@pytest.mark.parametrize("texts", [None, 3, "title", [1]], ids=str)
def test_a_setup_is_a_table(texts: Any) -> None:  # noqa: ANN401 -- whatever comes
    """What is no table is refused."""
    with pytest.raises(InputError, match=r"^setup: read .* but this is no table"):
        linesim.setup_from(texts)
    with pytest.raises(InputError, match=r"^changes: read .* but this is no table"):
        changed(SETUP, texts)


def test_a_name_is_no_setup() -> None:
    """A file's name where a setup is due is refused by everything that takes one."""
    name: Any = "foil.toml"
    calls: tuple[Callable[[], object], ...] = (
        lambda: linesim.scan(name),
        lambda: linesim.compare(name, ("1x1", "2x1")),
        lambda: linesim.vary(name, {"lens.f_number": "2,4"}),
        lambda: changed(name, {}),
        lambda: linesim.budget(name),
    )
    for call in calls:
        with pytest.raises(InputError, match=re.escape('setup: read "foil.toml", but this is no')):
            call()


ODD: dict[str, Callable[[Any], object]] = {
    "variants": lambda odd: linesim.compare(SETUP, odd),
    "ranges": lambda odd: linesim.vary(SETUP, odd),
    "lens.f_number": lambda odd: linesim.vary(SETUP, {"lens.f_number": odd}),
    "binning": lambda odd: linesim.vary(SETUP, {"lens.f_number": "2,4"}, binning=odd),
    "figures": lambda odd: linesim.vary(SETUP, {"lens.f_number": "2,4"}, figures=odd),
    "space": linesim.rank,
    "off_axis_error": lambda odd: linesim.scan(SETUP, off_axis_error=odd),
    "images": linesim.measure.noise,
    "image": linesim.measure.scene,
    "region": lambda odd: linesim.measure.edge(np.eye(64, dtype=np.uint8), region=odd),
    "setup": lambda odd: linesim.measure.against(odd, np.eye(64, dtype=np.uint16)),
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("odd", [True, -1, 1.5, b"x", {1: 2}, {3}, 1j], ids=repr)
def test_odd_arguments_are_refused_by_name(name: str, odd: Any) -> None:  # noqa: ANN401 -- whatever comes
    """Each in a sentence that begins with the argument."""
    with pytest.raises(InputError, match=f"^({re.escape(name)}|ranges): "):
        ODD[name](odd)


def test_a_single_text_is_no_list() -> None:
    """Its letters would be taken for ways of binning."""
    with pytest.raises(InputError, match=r'^variants: read "1x1"; expected a list of texts'):
        linesim.compare(SETUP, "1x1")
