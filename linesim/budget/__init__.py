"""The closed-form figures; the room itself can be called: ``linesim.budget(setup)``."""

import sys
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linesim.budget.budget import Budget
    from linesim.setup.setup import Setup


class _Room(ModuleType):
    """A package that answers a call, since room and function share their name."""

    def __call__(self, setup: "Setup") -> "Budget":
        """Work out the closed-form figures of a setup."""
        from linesim.budget.budget import budget  # noqa: PLC0415 -- lazily, for a quick --help

        return budget(setup)


sys.modules[__name__].__class__ = _Room
