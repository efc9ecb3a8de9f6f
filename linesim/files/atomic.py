"""Writing so that a file is there whole or not at all."""

import json
import math
import os
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from numbers import Integral, Real
from pathlib import Path

from linesim.setup.errors import InputError, refuse


@contextmanager
def atomic_path(path: Path | str) -> Iterator[Path]:
    """
    Lend a path to write to; the file gets its final name only when it is complete.

    The lent path lies in the same folder, begins with a dot and keeps the ending. On leaving, its
    bytes are forced to the disk and it replaces the final file in one step. After any exception it
    is removed and the final name is left as it was; a killed process may leave the dot file behind.
    Missing folders are made. A link of the final name is replaced and what it leads to is left
    alone, so that nobody can have another file overwritten by laying one there. Any `OSError`
    inside the block is taken as a failure to write.
    """
    with refusing(path):
        final = own_place(path)
        final.parent.mkdir(parents=True, exist_ok=True)
        refuse_special(final, path)
        temporary = final.with_name(f".part-{secrets.token_hex(6)}{final.suffix}")
        try:
            yield temporary
            _flush_to_disk(temporary)
            temporary.replace(final)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise


def own_place(path: Path | str) -> Path:
    """Name the place of a file: links to folders are followed, one of its own name is not."""
    return Path(os.path.realpath(Path(path).parent)) / Path(path).name


@contextmanager
def refusing(path: Path | str) -> Iterator[None]:
    """Make of any `OSError` the sentence that a file cannot be written."""
    try:
        yield
    except OSError as error:
        raise InputError(_sentence(path, error)) from error


def refuse_special(final: Path, written: Path | str) -> None:
    """Keep from replacing a folder or a device such as /dev/null."""
    if final.exists() and not final.is_file():
        kind = "a folder" if final.is_dir() else "a device or a pipe"
        refuse(f'output "{written}" is {kind}; expected the name of a file to write')


def _flush_to_disk(file: Path) -> None:
    """Have the bytes on the disk before the name points at them."""
    with file.open("rb+") as stream:
        os.fsync(stream.fileno())


def _sentence(path: Path | str, error: OSError) -> str:
    """Say why a file could not be written."""
    blocking = [parent for parent in Path(path).parents if parent.is_file()]
    if blocking:
        return (
            f'output "{path}" cannot be written: "{blocking[0]}" is a file; expected a folder there'
        )
    reason = error.strerror or str(error)
    return (
        f'output "{path}" cannot be written ({reason}); '
        "expected a folder with room that you may write to"
    )


def write_bytes(path: Path | str, data: bytes) -> None:
    """Write bytes, whole or not at all."""
    with atomic_path(path) as temporary:
        temporary.write_bytes(data)


def write_text(path: Path | str, text: str) -> None:
    r"""Write text as UTF-8, whole or not at all; ``\n`` stays ``\n`` on every system."""
    write_bytes(path, text.encode("utf-8"))


def json_text(value: object) -> str:
    """Give the JSON text of plain data, numpy's numbers too; NaN and infinity raise ValueError."""
    for where, number in _numbers(value, ""):
        if not math.isfinite(number):
            msg = f"{where or 'the value'} is {number}: JSON holds finite numbers only"
            raise ValueError(msg)
    return json.dumps(value, indent=2, allow_nan=False, ensure_ascii=False, default=_plain) + "\n"


def _numbers(value: object, where: str) -> Iterator[tuple[str, float]]:
    """Walk over all floats, each with its path (``signal.snr``, ``cautions[2]``)."""
    if isinstance(value, Real) and not isinstance(value, Integral):
        yield where, float(value)
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _numbers(item, f"{where}.{key}" if where else str(key))
    elif isinstance(value, list | tuple):
        for index, item in enumerate(value):
            yield from _numbers(item, f"{where}[{index}]")


def _plain(value: object) -> object:
    """Turn numpy's scalars into Python's."""
    # told by what they have: who writes a text need not load numpy
    if getattr(value, "shape", None) == () and hasattr(value, "item"):
        return value.item()
    msg = f"{value!r} ({type(value).__name__}) has no place in JSON"
    raise TypeError(msg)


def write_json(path: Path | str, value: object) -> None:
    """Write plain data as JSON, as `json_text` takes it, whole or not at all."""
    write_text(path, json_text(value))
