"""Simulate what a proposed line-scan inspection set-up would capture."""

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from linesim.budget.budget import budget
    from linesim.setup.errors import InputError
    from linesim.setup.load import changed, load_setup, setup_from
    from linesim.study.scan import scan

_HOMES = {
    "InputError": "linesim.setup.errors",
    "budget": "linesim.budget",
    "changed": "linesim.setup.load",
    "load_setup": "linesim.setup.load",
    "scan": "linesim.study.scan",
    "setup_from": "linesim.setup.load",
}
__all__ = ["InputError", "__version__", "budget", "changed", "load_setup", "scan", "setup_from"]


def __getattr__(name: str) -> object:
    """Hand names on when they are first asked for, so that ``linesim --help`` stays quick."""
    if name not in _HOMES:
        msg = f"module 'linesim' has no attribute {name!r}"
        raise AttributeError(msg)
    home = import_module(_HOMES[name])
    return home if name == "budget" else getattr(home, name)
