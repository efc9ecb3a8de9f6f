"""The line of progress: on terminals only, late, and gone at the end."""

import io

import pytest

from linesim.cli import progress as module
from linesim.cli.progress import progress


class Terminal(io.StringIO):
    """Text that says it is a terminal."""

    def isatty(self) -> bool:
        """Say so always."""
        return True


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        """Give the time set."""
        return self.now_s


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Put a clock set by hand in place of the real one."""
    made = Clock()
    monkeypatch.setattr(module, "time", made)
    return made


def run(
    err: io.StringIO, clock: Clock, monkeypatch: pytest.MonkeyPatch, seconds: list[float]
) -> str:
    """Tell of four parts at the times given."""
    monkeypatch.setattr("sys.stderr", err)
    with progress("working") as tell:
        for index, at_s in enumerate(seconds):
            clock.now_s = at_s
            tell(index + 1, len(seconds))
    return err.getvalue()


def test_nothing_before_a_second(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is done within a second says nothing."""
    assert run(Terminal(), clock, monkeypatch, [0.2, 0.4, 0.6, 0.99]) == ""


def test_nothing_but_on_a_terminal(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """A log stays free of it."""
    assert run(io.StringIO(), clock, monkeypatch, [5.0, 10.0]) == ""


def test_a_line_that_goes_away(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """From one second on, ten times a second at most; at the end blanks stand over it."""
    told = run(Terminal(), clock, monkeypatch, [0.5, 1.5, 1.55, 2.0])
    lines = told.split("\r")
    assert [line for line in lines if line.startswith("working")] == [
        "working [###############...............] 2 of 4",
        "working [##############################] 4 of 4",
    ]
    assert lines[-1] == ""
    assert lines[-2].strip() == ""


def test_it_goes_away_after_a_fault(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error ends on a clean line."""
    err = Terminal()
    monkeypatch.setattr("sys.stderr", err)

    def broken() -> None:
        with progress("working") as tell:
            clock.now_s = 3.0
            tell(1, 2)
            msg = "broken"
            raise ValueError(msg)

    with pytest.raises(ValueError, match="broken"):
        broken()
    assert err.getvalue().endswith("\r")
