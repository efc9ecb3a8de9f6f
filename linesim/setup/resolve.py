"""A setup written out again: as the user wrote it, defaults filled in, runnable where it lies."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeGuard

import tomli_w

from linesim.setup.lens.lens import OVER_FIELD_KEYS
from linesim.setup.load import known_keys
from linesim.setup.product import TARGET
from linesim.setup.quantity import PERCENT
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup

_FILE_KEYS = (
    ("target", "image"),
    ("target", "relief"),
    ("target", "gloss"),
    ("target", "transmittance"),
    *(("lens", key) for key in OVER_FIELD_KEYS),
    ("light", "spectrum"),
    ("camera", "quantum_efficiency"),
    ("requirement", "texture"),
)


def resolved_text(setup: Setup, folder: Path) -> str:
    """Write a setup as TOML, its file names relative to the folder where it will lie."""
    texts: dict[str, Any] = {
        name: setup.texts[name] for name in known_keys(()) if name in setup.texts
    }
    for name, table in texts.items():
        if isinstance(table, Mapping):
            texts[name] = {key: table[key] for key in known_keys((name,)) if key in table}
    for section, key in _FILE_KEYS:
        if key in texts[section]:
            texts[section][key] = _moved(texts[section][key], section, (setup.folder, folder))
    return tomli_w.dumps(texts)


def named_files(setup: Setup) -> list[str]:
    """List the files that a setup names."""
    found = []
    for section, key in _FILE_KEYS:
        value = setup.texts[section].get(key)
        each = value.values() if isinstance(value, Mapping) else (value,)
        found += [name for name in each if _is_file(name, section)]
    return found


def _is_file(value: object, section: str) -> TypeGuard[str]:
    if not isinstance(value, str) or value.rstrip().endswith(PERCENT):
        return False
    if section == "requirement":
        return value != TARGET
    return value not in BUILT_IN if section == "target" else value.lower().endswith(".csv")


def _moved(value: object, section: str, folders: tuple[Path, Path]) -> object:
    """Name a file as seen from the new folder, also one a colour; the rest stays as it is."""
    if isinstance(value, Mapping):
        return {name: _moved(each, section, folders) for name, each in value.items()}
    old, new = folders
    return relative_to(old / value, new) if _is_file(value, section) else value


def relative_to(path: Path, folder: Path) -> str:
    """Name a file as seen from a folder, with forward slashes."""
    return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
