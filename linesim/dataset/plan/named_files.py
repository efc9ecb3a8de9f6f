"""Files that a plan names: one, a list, or all that fit a pattern."""

from collections.abc import Iterable, Mapping
from glob import escape, glob, has_magic
from pathlib import Path
from typing import Any

from linesim.setup.errors import InputError, refuse
from linesim.setup.infiles import existing_file
from linesim.setup.resolve import relative_to
from linesim.setup.shown import shown

EXPECTED = "a PNG or TIFF image"


def files_named(key: str, named: object, folder: Path, faults: list[str]) -> tuple[Path, ...]:
    """Find files by names and patterns, a pattern's by name; ``faults`` gets a sentence a fault."""
    listed = [named] if isinstance(named, str) else named
    if not isinstance(listed, list) or not listed or not all(isinstance(v, str) for v in listed):
        faults.append(
            f'{key}: read {shown(named)}, but expected files, such as "pits/*.png" or ["pit_1.png"]'
        )
        return ()
    found: list[Path] = []
    for each in listed:
        try:
            found.extend(_behind(key, each, folder))
        except InputError as refusal:
            faults.extend(refusal.faults)
    if len({path.resolve() for path in found}) < len(found):
        faults.append(f"{key}: read a file twice; expected each once")
    return tuple(found)


def _behind(key: str, name: str, folder: Path) -> Iterable[Path]:
    path = folder / name
    if has_magic(name) and "\0" not in name and not path.exists():
        pattern = f"{escape(str(folder))}/{name}"
        # a pattern may be of another folder, which `Path.glob` refuses
        found = sorted(Path(each) for each in glob(pattern))  # noqa: PTH207 -- see above
        if not found:
            refuse(f'{key}: read "{name}", but no file fits that; expected {EXPECTED} or more')
        return found
    return (existing_file(path, key=key, expected=EXPECTED, written=name),)


def named_from(
    folder: Path, texts: Mapping[str, Any], files: Mapping[tuple[str, ...], tuple[Path, ...]]
) -> dict[str, Any]:
    """Name a plan's files, by keys such as ("faults", "pit", "images"), as seen from a folder."""
    out = dict(texts)
    for (first, *rest), paths in files.items():
        names = [relative_to(path, folder) for path in paths]
        inner = {tuple(rest): paths}
        out[first] = named_from(folder, out[first], inner) if rest else names
    return out
