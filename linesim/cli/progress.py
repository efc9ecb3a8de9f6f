"""A line of progress on stderr: on a terminal only, and only for what takes more than a second."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_PATIENCE_S = 1.0
_PAUSE_S = 0.1
_WIDTH = 30


@contextmanager
def progress(label: str, *, timed: bool = False) -> Iterator[Callable[[int, int], None]]:
    """Lend a function that is told how much is done, and shows it where somebody looks."""
    seen, begun, longest, first = sys.stderr.isatty(), time.monotonic(), 0, -1
    shown_s = begun + _PATIENCE_S - _PAUSE_S

    def update(done: int, total: int) -> None:
        nonlocal shown_s, longest, first
        now_s = time.monotonic()
        first = done - 1 if first < 0 else first  # what was there before took no time
        if not seen or now_s - shown_s < _PAUSE_S:
            return
        pace = _pace((done - first) / (now_s - begun), total - done) if timed else ""
        line = _line(label, done, total) + pace
        shown_s, longest = now_s, max(longest, len(line))
        sys.stderr.write(f"\r{line:<{longest}}")
        sys.stderr.flush()

    try:
        yield update
    finally:
        if longest:  # nothing stays behind, whatever is written next
            sys.stderr.write(f"\r{'':<{longest}}\r")
            sys.stderr.flush()


def _line(label: str, done: int, total: int) -> str:
    share = done / max(total, 1)
    full = round(_WIDTH * share)
    return f"{label} [{'#' * full}{'.' * (_WIDTH - full)}] {done} of {total}"


def _pace(a_second: float, left: int) -> str:
    minutes, seconds = divmod(round(left / a_second), 60)
    hours, minutes = divmod(minutes, 60)
    return f", {a_second:.3g} a second, {hours}:{minutes:02d}:{seconds:02d} left"
