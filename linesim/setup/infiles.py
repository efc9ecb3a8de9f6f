"""The checks every input file passes before anybody reads it."""

import difflib
from pathlib import Path

from linesim.setup.errors import InputError


def existing_file(path: Path | str, *, key: str, expected: str, written: str | None = None) -> Path:
    """
    Make sure that a path leads to a readable file with something in it.

    Parameters
    ----------
    path : Path or str
        Where the file is.
    key : str
        Key or argument that named the file; it opens the refusal.
    expected : str
        What the file should hold, as in "a PNG, TIFF or JPEG image".
    written : str, optional
        The name as the user wrote it; ``path`` if left out.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    InputError
        No such file (the nearest name in that folder is offered), a folder, a device,
        an empty file, or one that may not be read.
    """
    file = Path(path)
    try:
        fault = _fault(file)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        fault = f"cannot be read ({reason})"
    if fault:
        msg = f'{key} "{written or path}" {fault}; expected {expected}'
        raise InputError(msg)
    return file


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
