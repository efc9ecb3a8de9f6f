"""The checks every input file passes before anybody reads it."""

import difflib
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from linesim.setup.errors import InputError, refuse

_MOST_BYTES = 1_000_000
_QUOTES = 'texts and values with a unit stand in quotes, as in "60 m/min"'


def starter_text() -> str:
    """Give the commented starter file."""
    return files("linesim.setup").joinpath("starter.toml").read_text("utf-8")


def existing_file(path: Path | str, *, key: str, expected: str, written: str | None = None) -> Path:
    """
    Make sure that a path leads to a readable file with something in it.

    The refusal opens with ``key``, names the file as ``written``, offers the nearest name in its
    folder, and says what is ``expected``, as in "a PNG, TIFF or JPEG image".
    """
    file = Path(path)
    try:
        fault = _fault(file)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        fault = f"cannot be read ({reason})"
    if fault:
        refuse(f'{key} "{written or path}" {fault}; expected {expected}')
    return file


def changed_ns(file: Path) -> int:
    """Tell when a file was changed last [ns]; 0 where there is none, which its reader refuses."""
    return file.stat().st_mtime_ns if file.exists() else 0


def _fault(file: Path) -> str:
    """Say what is wrong with a file; an empty text if nothing is."""
    if file.is_dir():
        return "is a folder"
    if not file.exists():
        return f"does not exist{_nearest(file)}"
    if not file.is_file():
        return "is a device or a pipe, not a file"
    with file.open("rb") as stream:
        return "" if stream.read(1) else "is empty (0 bytes)"


def _nearest(file: Path) -> str:
    """Offer the nearest name in the folder of a missing file."""
    if not file.parent.is_dir():
        return f' (there is no folder "{file.parent}")'
    names = {entry.name.casefold(): entry.name for entry in sorted(file.parent.iterdir())}
    close = difflib.get_close_matches(file.name.casefold(), names, n=1)
    return f' (the nearest name in that folder is "{names[close[0]]}")' if close else ""


def toml_table(path: Path, *, key: str, expected: str) -> dict[str, Any]:
    """Read a TOML file that is no setup: a space of options, a plan."""
    file = existing_file(path, key=key, expected=expected)
    if file.stat().st_size > _MOST_BYTES:
        refuse(f'{key} "{path}" is far too large; expected {expected}')
    try:
        return tomllib.loads(file.read_bytes().decode("utf-8-sig"))
    except UnicodeDecodeError as fault:
        reason = f"byte {fault.start + 1} is not UTF-8; save it as UTF-8"
    except tomllib.TOMLDecodeError as fault:
        reason = f"{fault}; {_QUOTES}"
    except ValueError:  # Python's limit on the digits of a whole number
        reason = "a number has thousands of digits"
    except RecursionError:
        reason = "brackets stand within brackets without end"
    msg = f'{key} "{path}" cannot be read as TOML: {reason}'
    raise InputError(msg)
