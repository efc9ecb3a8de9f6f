"""A setup written out again: as the user wrote it, defaults filled in, runnable where it lies."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from linesim.setup.load import known_keys
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup

_FILE_KEYS = (("target", "image"), ("light", "spectrum"), ("camera", "quantum_efficiency"))


def resolved_text(setup: Setup, folder: Path) -> str:
    """
    Write a setup as TOML.

    Parameters
    ----------
    setup : Setup
        The station.
    folder : pathlib.Path
        Where the text will lie; file names are rewritten relative to it.

    Returns
    -------
    str
        TOML that loads to the same setup.
    """
    import tomli_w  # noqa: PLC0415 -- only needed to write

    texts: dict[str, Any] = {name: setup.texts[name] for name in known_keys(())}
    for name, table in texts.items():
        if isinstance(table, Mapping):
            texts[name] = {key: table[key] for key in known_keys((name,)) if key in table}
    for section, key in _FILE_KEYS:
        value = texts[section].get(key)
        if _is_file(section, value):
            texts[section][key] = relative_to(setup.folder / value, folder)
    return tomli_w.dumps(texts)


def _is_file(section: str, value: object) -> bool:
    if not isinstance(value, str):
        return False
    return value not in BUILT_IN if section == "target" else value.lower().endswith(".csv")


def relative_to(path: Path, folder: Path) -> str:
    """
    Name a file as seen from a folder, with forward slashes.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    folder : pathlib.Path
        The folder.

    Returns
    -------
    str
        Relative path.
    """
    return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
