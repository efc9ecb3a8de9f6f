"""
The list of a set's files with the SHA-256 of each, and what differs from it.

A line each: 64 hexadecimal digits, two spaces, the name; `sha256sum -c` reads it.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from hashlib import file_digest
from pathlib import Path

from linesim.files.atomic import write_text
from linesim.setup.errors import InputError

LIST = "files.sha256"
_LINE = re.compile(r"([0-9a-f]{64})  (\S[^\x00-\x1f]*)")


def write_listing(folder: Path, names: Sequence[str]) -> None:
    """Write the list of a finished set."""
    lines = [f"{digest(folder / name)}  {name}\n" for name in sorted(set(names))]
    write_text(folder / LIST, "".join(lines))


def digest(path: Path) -> str:
    """Hash a file."""
    try:
        with path.open("rb") as stream:
            return file_digest(stream, "sha256").hexdigest()
    except OSError as fault:
        msg = f'"{path}" cannot be read ({fault.strerror}); expected a file of the set'
        raise InputError(msg) from None


def listing_faults(folder: Path, names: Sequence[str]) -> Iterator[str]:
    """Name each file of a set that is missing, changed, in another's place or not its own."""
    path = folder / LIST
    if not path.is_file():
        yield f"{LIST} is not there: the set was not finished, or the file was removed"
        return
    listed, odd = _read(path)
    if odd:
        yield f"{LIST}: {odd} of its lines are no hash and name"
    yield from (f"{LIST} does not list {name}" for name in names if name not in listed)
    yield from _changed(folder, listed)
    own = {*listed, *names, LIST}
    for each in sorted(folder.rglob("*")):
        name = each.relative_to(folder).as_posix()
        if name not in own and not each.is_dir():
            yield f"{name} does not belong to the set"


def _read(path: Path) -> tuple[dict[str, str], int]:
    """Read the list, with the number of lines that are none."""
    lines = path.read_bytes().decode("utf-8", errors="replace").removesuffix("\n").split("\n")
    found = [_LINE.fullmatch(line) for line in lines]
    known = {each[2]: each[1] for each in found if each}
    return known, sum(each is None for each in found)


def _changed(folder: Path, listed: Mapping[str, str]) -> Iterator[str]:
    # of files with the same bytes, such as empty masks, any may stand for the others
    holder = {hashed: name for name, hashed in listed.items()}
    for name, hashed in listed.items():
        path = folder / name
        if not path.is_file():
            yield f"{name} is not there"
            continue
        found = digest(path)
        if found != hashed:
            yield f"{name} is not as it was written: {_how(path, holder.get(found))}"


def _how(path: Path, holder: str | None) -> str:
    size = path.stat().st_size
    if not size:
        return "it is empty"
    return f"it holds what {holder} should hold" if holder else f"other bytes, {size} of them"
