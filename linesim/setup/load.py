"""From TOML to a checked, frozen setup: defaults filled in, all faults told at once."""

import tomllib
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError

from linesim.setup.arguments import checked_setup, copied, refuse_other_keys
from linesim.setup.errors import InputError, after_key, refuse
from linesim.setup.infiles import existing_file, starter_text
from linesim.setup.model import Sections
from linesim.setup.quantity import written
from linesim.setup.relations import broken_choices, broken_relations
from linesim.setup.setup import Setup
from linesim.setup.sheet.derived import understood
from linesim.setup.sheet.names import (
    as_typed,
    plain_name,
    refuse_two_names,
    renamed,
    superseded,
    without_defaults,
)
from linesim.setup.shown import shown
from linesim.setup.speeds import with_both_speeds
from linesim.setup.surface_relations import one_table_a_light
from linesim.setup.vocabulary import Section

Texts = dict[str, Any]
"""A setup as TOML gives it: section -> key -> value as written."""

NO_DEFAULT = {
    "title": (),
    "target": ("image", "pixel_size"),
    "transport": ("speed",),
    "lens": ("magnification",),
    "light": ("illuminance",),
    "camera": ("pixels", "pixel_width"),
    "requirement": ("smallest_defect", "snr"),
}
"""Keys of the starter file that only the user can know, those of its example among them."""

_EXPECTED = "a setup file (linesim new writes one)"
_QUOTES = 'texts and values with a unit stand in quotes, as in speed = "60 m/min"'
_QUITE_NEAR = 0.8
_MOST_BYTES = 1_000_000


@cache
def _defaults() -> Texts:
    texts = tomllib.loads(starter_text())
    del texts["title"]
    return {
        name: {key: value for key, value in section.items() if key not in NO_DEFAULT.get(name, ())}
        for name, section in texts.items()
    }


def _merged(texts: Mapping[str, Any]) -> Texts:
    """Fill in defaults; what is not a table is left for the check to refuse, None is left out."""
    merged: Texts = {name: dict(section) for name, section in _defaults().items()}
    for name, section in copied(texts).items():
        if isinstance(section, Mapping):
            there = {key: value for key, value in section.items() if value is not None}
            section = {**merged.get(name, {}), **there}  # noqa: PLW2901 -- filled in
        merged[name] = section
    return merged


def known_keys(path: tuple[str, ...]) -> list[str]:
    """List the keys under some tables of a setup file; under () those of the whole file."""
    model: type[Section] = Sections
    for name in path:
        field = model.model_fields.get(name)
        # a section that may be left out is one of two types
        types = (field.annotation, *get_args(field.annotation)) if field else ()
        below = [each for each in types if isinstance(each, type) and issubclass(each, Section)]
        if not below:
            return []
        model = below[0]
    return [field.alias or name for name, field in model.model_fields.items()]


def _unknown(path: tuple[str, ...], value: object) -> str:
    *above, key = path
    keys, wanted = known_keys(tuple(above)), key.lower().replace("-", "_")
    elsewhere = [
        f"{section}.{wanted}" for section in known_keys(()) if wanted in known_keys((section,))
    ]
    near = [".".join([*above, each]) for each in get_close_matches(wanted, keys, n=1)]
    # the right name in the wrong place is a better guess than a similar name in this one
    meant = near if wanted in keys else elsewhere + near + _near_elsewhere(wanted)
    hint = f"did you mean {meant[0]}?" if meant else f"known here are {', '.join(keys)}"
    return f"{'.'.join(path)}: read {shown(value)}, but there is no such key; {hint}"


def _near_elsewhere(wanted: str) -> list[str]:
    homes = {key: f"{name}.{key}" for name in known_keys(()) for key in known_keys((name,))}
    return [homes[key] for key in get_close_matches(wanted, homes, n=1, cutoff=_QUITE_NEAR)]


def _sentences(error: Any) -> tuple[str, ...]:  # noqa: ANN401 -- pydantic's type is a dict of Any
    path = tuple(str(part) for part in error["loc"])
    dotted = ".".join(path)
    if error["type"] == "extra_forbidden":
        return (_unknown(path, error["input"]),)
    if error["type"] == "missing":
        return (f"{dotted}: nothing was read, but this key is needed{_example(path)}",)
    if error["type"] == "model_type":
        read = shown(error["input"])
        return (f"{dotted}: read {read}, but this is no table; expected [{dotted}] and its keys",)
    return after_key(dotted, error["ctx"]["error"])


def _example(path: tuple[str, ...]) -> str:
    value: Any = tomllib.loads(starter_text())
    for part in path:
        value = value.get(part) if isinstance(value, Mapping) else None
    return "" if value is None or isinstance(value, Mapping) else f", for example {shown(value)}"


def _sections(merged: Texts, folder: Path) -> tuple[Sections, dict[str, tuple[str, ...]]]:
    """Check key by key; give the values, the starter's in place of faulty ones, and the faults."""
    try:
        return Sections.model_validate(merged, context={"folder": folder}), {}
    except ValidationError as refusal:
        errors = refusal.errors(include_url=False)
    repaired = _without([tuple(map(str, error["loc"])) for error in errors], merged)
    faults = {".".join(map(str, error["loc"])): _sentences(error) for error in errors}
    return Sections.model_validate(repaired, context={"folder": folder}), faults


def _without(faulty: list[tuple[str, ...]], merged: Texts) -> Texts:
    """Put the starter's values in the place of faulty ones; what it does not have is left out."""
    repaired: Texts = copied(merged)
    starter = tomllib.loads(starter_text())
    for *above, key in faulty:
        table = repaired[above[0]] if above else repaired
        good = starter.get(above[0], {}) if above else starter
        table.pop(key, None)
        if key in good:
            table[key] = good[key]
    return repaired


def setup_from(texts: Mapping[str, Any], folder: Path | None = None) -> Setup:
    """
    Check a setup given as nested mappings, as a TOML file would give them.

    File names are relative to ``folder``, left out the current one. InputError has a sentence for
    every fault found.
    """
    refuse_other_keys(texts, "setup")
    folder = (folder or Path()).resolve()
    both, speeds, again = with_both_speeds(one_table_a_light(texts))
    given, typed, twice = renamed(both)
    merged = _merged(given)
    sections, found = _sections(merged, folder)
    kept = without_defaults(merged, given)
    faulty = frozenset(found)
    setup, odd = understood(Setup(sections=sections, texts=kept, folder=folder), faulty)
    faults = (
        *again,
        *twice,
        *(sentence for sentences in found.values() for sentence in sentences),
        *broken_choices(kept),
        *odd,
        *broken_relations(setup, faulty),
    )
    if faults:
        raise InputError(*(as_typed(fault, typed | speeds) for fault in faults))
    return setup


def load_setup(path: str | Path) -> Setup:
    """Read and check a setup file; InputError has a sentence for every fault found."""
    path = Path(path)
    text = _text(path)
    try:
        return setup_from(tomllib.loads(text), path.parent)
    except InputError:
        raise
    except tomllib.TOMLDecodeError as fault:
        reason = str(fault)
        twice = reason.startswith("Cannot")
        hint = "; each key stands once" if twice else f"; {_QUOTES}"
    except ValueError:  # Python's limit on the digits of a whole number
        reason, hint = "a number has thousands of digits", ""
    except RecursionError:
        reason, hint = "brackets stand within brackets without end", ""
    msg = f'setup "{path}" cannot be read as TOML: {reason}{hint}'
    raise InputError(msg)


def _text(path: Path) -> str:
    file = existing_file(path, key="setup", expected=_EXPECTED)
    if file.stat().st_size > _MOST_BYTES:
        refuse(f'setup "{path}" is far too large; expected {_EXPECTED}')
    try:
        text = file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        msg = (
            f'setup "{path}" is not UTF-8 text (byte {fault.start + 1} does not fit), as TOML must '
            "be; save it as UTF-8"
        )
        raise InputError(msg) from None
    if not text.strip():
        refuse(f'setup "{path}" is empty; expected {_EXPECTED}')
    return text


def changed(setup: Setup, changes: Mapping[str, Any]) -> Setup:
    """
    Make a variant and check everything again; InputError where it is no valid setup.

    A dotted key has its value as it would stand in the file, or a number and its unit such as
    ``(40.5, "klx")``, of which no digit is lost; ``None`` takes the key out. A bare number is for
    keys without a unit alone, as in a file.
    """
    refuse_other_keys(changes, "changes")
    texts = copied(checked_setup(setup).texts)
    refuse_two_names(changes)
    for dotted, value in changes.items():
        gone = set(superseded(dotted)) - set(map(plain_name, changes)) if value is not None else ()
        _step_back(texts, (*gone, *({plain_name(dotted)} - {dotted})))
        section, _, key = dotted.partition(".")
        if key and not isinstance(texts.get(section), dict):
            texts[section] = {}  # no section of that name: the check will say so
        table = texts[section] if key else texts
        table[key or section] = written(value)
        if value is None:
            del table[key or section]
    return setup_from(texts, setup.folder)


def _step_back(texts: Texts, others: Iterable[str]) -> None:
    """Take out keys in whose place another one is put."""
    for dotted in others:
        section, _, key = dotted.partition(".")
        if isinstance(texts.get(section), dict):
            texts[section].pop(key, None)


def sample_setup() -> Setup:
    """Give the built-in sample: a coated-foil line."""
    text = files("linesim.setup").joinpath("sample.toml").read_text("utf-8")
    return setup_from(tomllib.loads(text))
