"""Refusals stay short enough to be read, whatever was given, and whole on their way."""

import pickle
from typing import Any

import pytest

from linesim.dataset.plan.plan_file import plan_from
from linesim.setup.errors import InputError
from linesim.setup.load import sample_setup, setup_from
from linesim.studies.rank.space import space_from

LONG = "x" * 100_000
GOOD = dict(sample_setup().texts)
TEXTS: dict[str, dict[str, Any]] = {
    "a title": {"title": f"{LONG}\n"},
    "an image": {"target": {**GOOD["target"], "image": f"{LONG}.png"}},
    "a target of no such name": {"target": {**GOOD["target"], "image": LONG}},
    "a spectrum": {"light": {**GOOD["light"], "spectrum": f"{LONG}.csv"}},
    "a key": {"lens": {**GOOD["lens"], LONG: 1}},
    "a section": {LONG: {}},
    "words": {"title": "a word \n" * 20_000},
    "a number": {"lens": {**GOOD["lens"], "f_number": 10**4000}},
    "two thousand keys": {"lens": dict.fromkeys(map(str, range(2000)), 1)},
}


@pytest.mark.parametrize("name", TEXTS)
def test_a_refusal_stays_readable(name: str) -> None:
    """What was read is shortened, and very many faults are counted."""
    with pytest.raises(InputError) as refusal:
        setup_from({**GOOD, **TEXTS[name]})
    assert max(map(len, refusal.value.faults)) < 1000
    assert len(refusal.value.faults) <= 201


def test_a_sentence_keeps_its_ends() -> None:
    """Of a long value both ends are shown; words around it stay, also of an ordinary list."""
    told = InputError(f'setup "{LONG}.toml" is empty; expected a setup file').faults[0]
    assert told.startswith('setup "xxx')
    assert told.endswith('xxx.toml" is empty; expected a setup file')
    names = "figures: expected some of " + ", ".join(f"figure_{k}" for k in range(100))
    assert InputError(names).faults == (names,)


def test_sentences_stay_apart_on_the_way_from_a_worker() -> None:
    """Two faults that a process hands to another are two there."""
    assert pickle.loads(pickle.dumps(InputError("one", "two"))).faults == ("one", "two")  # noqa: S301 -- our own


@pytest.mark.parametrize("sign", ["\u202e", "\u2066", "\u200f", "\ud800", "\n"], ids=ascii)
def test_titles_and_names_hold_nothing_that_hides(sign: str) -> None:
    """What turns the direction of text, and what no file can hold, is refused everywhere."""
    for texts in ({"title": f"a{sign}b"}, {"target": {**GOOD["target"], "image": f"a{sign}b.png"}}):
        with pytest.raises(InputError, match="it holds a"):
            setup_from({**GOOD, **texts})
    for make in (space_from, plan_from):
        with pytest.raises(InputError, match=r"title: read .* it holds a"):
            make({"title": f"a{sign}b"})
