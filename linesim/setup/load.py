"""From TOML to a checked, frozen setup: defaults filled in, all faults told at once."""

import tomllib
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from linesim.setup.errors import InputError
from linesim.setup.fields import shown
from linesim.setup.model import Section, Sections
from linesim.setup.relations import broken_choices, broken_relations
from linesim.setup.setup import Setup

Texts = dict[str, Any]
"""A setup as TOML gives it: section -> key -> value as written."""

NO_DEFAULT = {
    "title": (),
    "target": ("image", "pixel_size"),
    "transport": ("speed",),
    "lens": ("magnification",),
    "light": ("illuminance",),
    "camera": ("pixels", "pixel_width"),
}
"""Keys of the starter file that only the user can know."""

_MOST_BYTES = 1_000_000


def starter_text() -> str:
    """
    Give the commented starter file.

    Returns
    -------
    str
        TOML that runs as it stands.
    """
    return files("linesim.setup").joinpath("starter.toml").read_text("utf-8")


@cache
def _defaults() -> Texts:
    texts = tomllib.loads(starter_text())
    del texts["title"]
    return {
        name: {key: value for key, value in section.items() if key not in NO_DEFAULT.get(name, ())}
        for name, section in texts.items()
    }


def _merged(texts: Mapping[str, Any]) -> Texts:
    """Fill in defaults; what is not a table is left for the check to refuse."""
    merged: Texts = {name: dict(section) for name, section in _defaults().items()}
    for name, section in texts.items():
        known = merged.get(name)
        is_table = isinstance(section, Mapping)
        merged[name] = {**(known or {}), **section} if is_table else section
    return merged


def _known_keys(path: tuple[str, ...]) -> list[str]:
    model: type[Section] = Sections
    for name in path:
        field = model.model_fields.get(name)
        annotation = field.annotation if field else None
        if not (isinstance(annotation, type) and issubclass(annotation, Section)):
            return []
        model = annotation
    return [field.alias or name for name, field in model.model_fields.items()]


def _unknown(path: tuple[str, ...], value: object) -> str:
    *above, key = path
    keys = _known_keys(tuple(above))
    near = get_close_matches(key, keys, n=1, cutoff=0.6)
    elsewhere = [
        f"{section}.{key}" for section in _known_keys(()) if key in _known_keys((section,))
    ]
    hint = f"did you mean {'.'.join([*above, near[0]])}?" if near else ""
    hint = hint or (f"did you mean {elsewhere[0]}?" if elsewhere else "")
    hint = hint or f"known here are {', '.join(keys)}"
    return f"{'.'.join(path)}: read {shown(value)}, but there is no such key; {hint}"


def _sentence(error: Any) -> str:  # noqa: ANN401 -- pydantic's own error type is a TypedDict of Any
    path = tuple(str(part) for part in error["loc"])
    dotted = ".".join(path)
    if error["type"] == "extra_forbidden":
        return _unknown(path, error["input"])
    if error["type"] == "missing":
        example = _example(path)
        return f"{dotted}: nothing was read, but this key is needed{example}"
    if error["type"] == "model_type":
        return f"{dotted}: read {shown(error['input'])}, but expected is a table [{dotted}]"
    return f"{dotted}: {error['ctx']['error']}"


def _example(path: tuple[str, ...]) -> str:
    value: Any = tomllib.loads(starter_text())
    for part in path:
        value = value.get(part) if isinstance(value, Mapping) else None
    return "" if value is None or isinstance(value, Mapping) else f", for example {shown(value)}"


def _sections(merged: Texts, folder: Path) -> tuple[Sections | None, tuple[str, ...]]:
    try:
        return Sections.model_validate(merged, context={"folder": folder}), ()
    except ValidationError as refusal:
        return None, tuple(_sentence(error) for error in refusal.errors(include_url=False))


def setup_from(texts: Mapping[str, Any], folder: Path | None = None) -> Setup:
    """
    Check a setup given as nested mappings of texts, numbers and booleans.

    Parameters
    ----------
    texts : mapping
        Section -> key -> value, as a TOML file would give them.
    folder : pathlib.Path, optional
        Folder that file names are relative to; the current one if left out.

    Returns
    -------
    Setup
        Frozen and checked.

    Raises
    ------
    InputError
        With one sentence for every fault found.
    """
    folder = (folder or Path()).resolve()
    merged = _merged(texts)
    sections, faults = _sections(merged, folder)
    faults = (*broken_choices(merged), *faults)
    if sections is None or faults:
        raise InputError(*faults)
    setup = Setup(sections=sections, texts=merged, folder=folder)
    _refuse(broken_relations(setup))
    return setup


def _refuse(faults: Iterable[str]) -> None:
    found = tuple(faults)
    if found:
        raise InputError(*found)


def load_setup(path: str | Path) -> Setup:
    """
    Read and check a setup file.

    Parameters
    ----------
    path : str or pathlib.Path
        TOML file.

    Returns
    -------
    Setup
        Frozen and checked.

    Raises
    ------
    InputError
        With one sentence for every fault found.
    """
    path = Path(path)
    try:
        texts = tomllib.loads(_text(path))
    except tomllib.TOMLDecodeError as fault:
        msg = f"{path}: this is not TOML as expected: {fault}"
        raise InputError(msg) from None
    return setup_from(texts, path.parent)


def _text(path: Path) -> str:
    kind = "a folder" if path.is_dir() else "" if path.exists() else "no such file"
    if kind:
        msg = f"{path}: this is {kind}, but expected is a setup file (linesim new writes one)"
        raise InputError(msg)
    try:
        data = path.read_bytes()
        text = data.decode("utf-8-sig")
    except OSError as fault:
        msg = f"{path}: it cannot be read: {fault.strerror}"
        raise InputError(msg) from None
    except UnicodeDecodeError:
        msg = f"{path}: this is not UTF-8 text, as TOML must be; save it as UTF-8"
        raise InputError(msg) from None
    if not text.strip() or len(data) > _MOST_BYTES:
        state = "empty" if not text.strip() else "far too large for a setup file"
        msg = f"{path}: the file is {state}, but expected is a setup (linesim new writes one)"
        raise InputError(msg)
    return text


def changed(setup: Setup, changes: Mapping[str, Any]) -> Setup:
    """
    Make a variant and check everything again.

    Parameters
    ----------
    setup : Setup
        The setup to start from.
    changes : mapping of str to value
        Dotted key -> value as it would stand in the file; ``None`` takes the key out.

    Returns
    -------
    Setup
        The variant.

    Raises
    ------
    InputError
        Where the variant is no valid setup.
    """
    texts = {
        name: dict(value) if isinstance(value, Mapping) else value
        for name, value in setup.texts.items()
    }
    for dotted, value in changes.items():
        section, _, key = dotted.partition(".")
        table = texts.setdefault(section, {}) if key else texts
        table[key or section] = value
        if value is None:
            del table[key or section]
    return setup_from(texts, setup.folder)


def sample_setup() -> Setup:
    """
    Give the built-in sample: a coated-foil line.

    Returns
    -------
    Setup
        Checked.
    """
    text = files("linesim.setup").joinpath("sample.toml").read_text("utf-8")
    return setup_from(tomllib.loads(text))
