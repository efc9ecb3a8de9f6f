"""A line of progress on stderr: on a terminal only, and only for what takes more than a second."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_PATIENCE_S = 1.0
_PAUSE_S = 0.1
_WIDTH = 30


@contextmanager
def progress(label: str) -> Iterator[Callable[[int, int], None]]:
    """
    Lend a function that is told how much is done, and shows it where somebody looks.

    Parameters
    ----------
    label : str
        What is being done.

    Yields
    ------
    callable
        Takes what is done and what there is to do in all.
    """
    seen, begun = sys.stderr.isatty(), time.monotonic()
    shown_s = begun + _PATIENCE_S - _PAUSE_S
    longest = 0

    def tell(done: int, total: int) -> None:
        nonlocal shown_s, longest
        now_s = time.monotonic()
        if not seen or now_s - shown_s < _PAUSE_S:
            return
        line = _line(label, done, total)
        shown_s, longest = now_s, max(longest, len(line))
        sys.stderr.write(f"\r{line:<{longest}}")
        sys.stderr.flush()

    try:
        yield tell
    finally:
        if longest:  # nothing stays behind, whatever is written next
            sys.stderr.write(f"\r{'':<{longest}}\r")
            sys.stderr.flush()


def _line(label: str, done: int, total: int) -> str:
    share = done / max(total, 1)
    full = round(_WIDTH * share)
    return f"{label} [{'#' * full}{'.' * (_WIDTH - full)}] {done} of {total}"
