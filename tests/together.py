"""Which files of tests one worker takes, one after the other."""

from functools import cache
from pathlib import Path

from xdist.scheduler import LoadFileScheduling

SHARED = ("mark.browser", "torch", "import colour", "import distributed")
"""What takes a second or more to start, by the words of the files that need it."""


class Scheduler(LoadFileScheduling):  # type: ignore[misc]
    """
    Whole files to a worker; files that need the same slow start are as one, and come first.

    Its base has no types.
    """

    def _split_scope(self, nodeid: str) -> str:
        return scope(super()._split_scope(nodeid))


@cache
def scope(name: str) -> str:
    """Name the files that go together: the first thing shared, or the file alone."""
    text = Path(__file__).parent.parent.joinpath(name).read_text("utf-8")
    return next((each for each in SHARED if each in text), name)
