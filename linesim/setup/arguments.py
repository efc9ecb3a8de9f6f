"""Arguments given from Python that have no place in a setup file: seeds, threads, setups."""

from collections.abc import Mapping
from importlib.util import find_spec
from typing import Any

import numpy as np

from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.setup.shown import shown

_MOST_BITS = 256
"""Of a seed; more than any that linesim writes itself."""
_MOST_THREADS = 1024
_PLAIN = "biufU"
"""Kinds of numpy's scalars that TOML has too: booleans, numbers, texts."""
_DEEPEST = 20
"""Tables and lists within one another; a setup has three."""


def checked_seed(seed: object) -> int:
    """Take a seed, a whole number from 0 up, Python's or numpy's, or refuse it."""
    number = _whole(seed)
    if number is None or number < 0 or number.bit_length() > _MOST_BITS:
        refuse(f"seed: read {shown(seed)}; expected a whole number from 0 up, for example 1")
    return number


def checked_workers(workers: object) -> int | None:
    """Take a number of threads, 1 to 1024 or None for the processor's own, or refuse it."""
    number = _whole(workers)
    if workers is not None and (number is None or not 1 <= number <= _MOST_THREADS):
        refuse(
            f"workers: read {shown(workers)}; expected a whole number from 1 to {_MOST_THREADS}, "
            "or None for as many as the processor has cores"
        )
    return number


def checked_setup(setup: object) -> Setup:
    """Take a setup, or refuse what is none."""
    if not isinstance(setup, Setup):
        refuse(
            f"setup: read {shown(setup)}, but this is no checked setup; expected what load_setup, "
            "setup_from or changed gives"
        )
    return setup


def refuse_other(given: object, kinds: type | tuple[type, ...], name: str, expected: str) -> None:
    """Refuse what is of another kind, with what is expected."""
    if not isinstance(given, kinds):
        refuse(f"{name}: read {shown(given)}; expected {expected}")


def refuse_no_list(given: object, name: str, kinds: tuple[type, ...] = (str,)) -> None:
    """Refuse what is no list of texts, such as a single text, whose letters would be taken."""
    refuse_other(given, (list, tuple), name, 'a list of texts, for example ["1x1", "2x2"]')
    for each in given if isinstance(given, list | tuple) else ():
        if not isinstance(each, kinds):
            refuse(f"{name}: read {shown(each)} in it; expected texts")


def refuse_no_share(share: object, name: str) -> None:
    """Refuse what is no number from 0 to 1."""
    given = share if isinstance(share, int | float | np.floating) else -1
    if isinstance(share, bool) or not 0 <= given <= 1:
        refuse(f"{name}: read {shown(share)}; expected a number from 0 to 1")


def refuse_other_keys(texts: object, what: str) -> None:
    """Refuse tables whose keys are no texts, at every depth."""
    if not isinstance(texts, Mapping):
        refuse(f"{what}: read {shown(texts)}, but this is no table; expected keys and values")
    _refuse_within(texts, what, _DEEPEST)


def _refuse_within(value: object, what: str, left: int) -> None:
    if not left:
        refuse(f"{what}: tables or lists stand within one another without end; expected values")
    for key in value if isinstance(value, Mapping) else ():
        if not isinstance(key, str) or not key.isprintable():
            refuse(f'{what}: read the key {shown(key)}, but keys are texts, for example "title"')
    lines = value if isinstance(value, list) else ()
    for each in value.values() if isinstance(value, Mapping) else lines:
        _refuse_within(each, what, left - 1)


def copied(value: Any) -> Any:  # noqa: ANN401 -- whatever a user gives
    """Copy tables and lists, so that nobody changes them; make numpy's scalars Python's own."""
    if isinstance(value, Mapping):
        return {key: copied(each) for key, each in value.items()}
    if isinstance(value, list):
        return [copied(each) for each in value]
    is_scalar = isinstance(value, np.generic | np.ndarray) and value.ndim == 0
    if is_scalar and value.dtype.kind in _PLAIN and not np.ma.isMaskedArray(value):
        return value.item()
    return value


def _whole(number: object) -> int | None:
    if isinstance(number, bool) or not isinstance(number, int | np.integer):
        return None
    return int(number)


def refuse_not_installed(what: str, needs: tuple[str, ...], extra: str) -> None:
    """Refuse to start what needs libraries of an extra that are not there."""
    missing = [name for name in needs if find_spec(name) is None]
    if missing:
        refuse(
            f"{what}: needs {' and '.join(missing)}, not installed here; expected: "
            f'pip install "linesim[{extra}]"'
        )
