"""Values that only Python can give: every key takes one that a file could hold, or refuses it."""

import os
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linesim.setup.errors import InputError
from linesim.setup.load import changed, known_keys, sample_setup, setup_from
from linesim.setup.resolve import resolved_text

NIGHTLY = "LINESIM_NIGHTLY" in os.environ
SAMPLE = sample_setup()
KEYS = [f"{table}.{key}" for table in known_keys(()) for key in known_keys((table,))]
FLAGS = ["acquisition.flat_field", "light.multiplexed", "target.repeat"]
ONE_A_KIND = [
    "acquisition.exposure",
    "acquisition.binning",
    "camera.bit_depth",
    "camera.black_level",
    "camera.kind",
    "camera.light_share",
    "camera.pixels",
    "camera.quantum_efficiency",
    "camera.row_heights",
    "lens.f_number",
    "light.ambient",
    "light.spectrum",
    "requirement.product_reflectance",
    "requirement.texture",
    "target.image",
    "target.repeat",
    "title",
]
SLIPS = ("truth value", "ambiguous", " at 0x", "Traceback", "TypeError", "broadcast", "convert")
"""Words of numpy and of Python that would stand in a sentence by accident."""


class Rude:
    """Will not be compared, hashed or printed."""

    __hash__ = None  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        raise RuntimeError

    def __repr__(self) -> str:
        raise RuntimeError


def odd_values() -> Iterator[tuple[str, Any]]:
    """Name values that no key takes."""
    loop: list[Any] = []
    loop.append([loop, loop])
    yield from {
        "an array": np.array([1.0, 2.0]),
        "an array of one": np.array([1]),
        "an array of none": np.array([]),
        "a matrix": np.zeros((3, 3)),
        "an array of texts": np.array(["60 us", "full"]),
        "an array of objects": np.array([Rude()], dtype=object),
        "a record": np.array([(1, 2.0)], dtype="i4,f8")[0],
        "a masked number": np.ma.masked,
        "a date of numpy": np.datetime64("2020"),
        "a list of an array": [np.array([1, 2])],
        "an empty list": [],
        "a list that holds itself": loop,
        "a tuple": ("6 um", "6 um"),
        "a set": {1, 2},
        "bytes": b"60 us",
        "a view of bytes": memoryview(b"60 us"),
        "a decimal": Decimal("1.5"),
        "no decimal": Decimal("sNaN"),
        "a fraction": Fraction(1, 2),
        "no number": float("nan"),
        "no number of numpy": np.float32("nan"),
        "infinity": float("inf"),
        "a huge number": 10**400,
        "a huge number below 0": -(10**5000),
        "a complex number": 1 + 2j,
        "a date": date(2020, 1, 1),
        "a path": Path("web.png"),
        "an object": object(),
        "a function": lambda: 1,
        "a type": int,
        "an iterator": iter([1]),
        "a rude object": Rude(),
        "a list of a rude object": [Rude()],
        "an empty text": "",
        "a text of NUL": "\0",
    }.items()


ODD = dict(odd_values())


def texts_with(keys: list[str], value: object) -> dict[str, Any]:
    """Give the sample's texts with one value under several keys."""
    texts = {
        name: dict(part) if isinstance(part, dict) else part for name, part in SAMPLE.texts.items()
    }
    for dotted in keys:
        table, _, key = dotted.partition(".")
        texts[table] = {**texts.get(table, {}), key: value} if key else value
    return texts


def check(fault: str) -> None:
    """Hold a sentence to what all have in common."""
    assert fault.isprintable()
    assert "read " in fault
    assert len(fault) < 1000
    assert [slip for slip in SLIPS if slip in fault] == []


@pytest.mark.parametrize("name", [each for each in ODD if each != "a list that holds itself"])
def test_every_key_refuses_it_in_a_sentence(name: str) -> None:
    """The same odd value under all keys at once: each key is told by name, in one line."""
    with pytest.raises(InputError) as refusal:
        setup_from(texts_with(["title", *KEYS], ODD[name]))
    told = refusal.value.faults
    for fault in told:
        check(fault)
    silent = [key for key in KEYS if not any(fault.startswith(f"{key}:") for fault in told)]
    assert silent == []


@pytest.mark.parametrize("key", ONE_A_KIND)
def test_a_change_by_it_is_refused(key: str) -> None:
    """Alone, by `changed`: the sentence says the key, what was read, what is expected."""
    every, first = (1, 0) if NIGHTLY else (3, ONE_A_KIND.index(key) % 3)
    for name, value in list(ODD.items())[first::every]:
        with pytest.raises(InputError) as refusal:
            changed(SAMPLE, {key: value})
        told = refusal.value.faults
        if name != "a list that holds itself":
            check(told[0])
            assert told[0].startswith(f"{key}: "), name
        assert any(word in told[0] for word in ("expected", "built in are")), told


@pytest.mark.parametrize("flag", [True, False, np.True_])
def test_a_flag_is_no_number_and_no_text(flag: object) -> None:
    """Python counts True as 1: every key but the flags refuses it all the same."""
    with pytest.raises(InputError) as refusal:
        setup_from(texts_with(KEYS, flag))
    told = "\n".join(refusal.value.faults)
    assert [key for key in KEYS if f"{key}: read {str(flag).lower()}" not in told] == sorted(
        FLAGS, key=KEYS.index
    )


def test_what_was_read_is_shown_as_python_writes_it() -> None:
    """An array, bytes and a decimal cannot be taken for the number or text that they hold."""
    for value, text in (
        (np.array([1.0, 2.0]), "array([1., 2.])"),
        (b"60 us", "b'60 us'"),
        (Decimal("1.5"), "Decimal('1.5')"),
        (object(), "a Python object"),
    ):
        # other libraries may have changed how numpy prints
        with np.printoptions(legacy=False), pytest.raises(InputError) as refusal:
            changed(SAMPLE, {"acquisition.exposure": value})
        assert str(refusal.value) == (
            f"acquisition.exposure: read {text}, but this is not a text with a unit; "
            'expected a time or "full", for example "100 us"'
        )


@pytest.mark.parametrize(
    ("key", "scalar", "plain"),
    [
        ("camera.pixels", np.int64(512), 512),
        ("camera.bit_depth", np.uint8(12), 12),
        ("lens.f_number", np.float32(4.0), 4.0),
        ("lens.f_number", np.array(4.0), 4.0),
        ("acquisition.flat_field", np.True_, True),
        ("acquisition.exposure", np.str_("60 us"), "60 us"),
        ("light.spectrum", MappingProxyType({"peak": "530 nm", "width": np.str_("30 nm")}), None),
    ],
)
def test_scalars_of_numpy_are_numbers(
    key: str,
    scalar: Any,  # noqa: ANN401 -- whatever comes
    plain: object,
) -> None:
    """They give the setup of Python's own numbers, and the file written from it."""
    made = changed(SAMPLE, {key: scalar})
    same = changed(SAMPLE, {key: dict(scalar) if plain is None else plain})
    assert made == same
    assert resolved_text(made, Path()) == resolved_text(same, Path())


def test_a_table_that_holds_itself_is_refused() -> None:
    """Also a whole setup, and a section of it."""
    loop: dict[str, Any] = {}
    loop["lens"] = loop
    with pytest.raises(InputError, match="stand within one another without end"):
        setup_from(loop)
    with pytest.raises(InputError, match="stand within one another without end"):
        changed(SAMPLE, {"lens": loop})


def test_what_is_changed_later_changes_no_setup() -> None:
    """A list given from Python is copied."""
    heights = ["7.5 um", "7.5 um"]
    made = changed(SAMPLE, {"camera.row_heights": heights})
    heights.append("9 um")
    assert made.texts["camera"]["row_heights"] == ["7.5 um", "7.5 um"]


@given(
    number=st.floats(1e-3, 1e9, allow_subnormal=False), kind=st.sampled_from([float, np.float64])
)
def test_a_number_and_its_unit_lose_no_digit(number: float, kind: type[float]) -> None:
    """In the unit that is kept a pair comes bit by bit; in another its decimals round once."""
    setup = changed(SAMPLE, {"light.illuminance": (kind(number), "lx")})
    assert setup.light.illuminance_lx == number
    setup = changed(SAMPLE, {"light.illuminance": (number / 1000, "klx")})
    assert setup.light.illuminance_lx == float(Fraction(repr(number / 1000)) * 1000)


@pytest.mark.parametrize(
    ("key", "value", "why"),
    [
        ("light.illuminance", 40_000, "a bare number has no unit"),
        ("light.illuminance", (40, "mm"), "mm is a unit of another kind"),
        ("light.illuminance", (True, "lx"), "not a text with a unit"),
        ("light.illuminance", ("40", "klx"), "not a text with a unit"),
        ("light.illuminance", (float("nan"), "lx"), "not a number followed by a unit"),
        ("lens.f_number", (4, "mm"), "a text, and a bare number is due"),
    ],
)
def test_a_pair_is_judged_as_its_text_would_be(key: str, value: object, why: str) -> None:
    """Only a number and a unit are a pair; a bare number where a unit is due stays refused."""
    with pytest.raises(InputError, match=why):
        changed(SAMPLE, {key: value})
