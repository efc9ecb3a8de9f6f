"""Simulate what a proposed line-scan inspection set-up would capture."""

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from linesim.budget.budget import budget
    from linesim.setup.errors import InputError
    from linesim.setup.load import changed, load_setup, setup_from
    from linesim.study import measure
    from linesim.study.compare import compare
    from linesim.study.rank import rank
    from linesim.study.scan import scan
    from linesim.study.space import load_space
    from linesim.study.streamed import scan_to_file
    from linesim.study.vary import vary

_HOMES = {
    "InputError": "linesim.setup.errors",
    "budget": "linesim.budget",
    "changed": "linesim.setup.load",
    "compare": "linesim.study.compare",
    "load_setup": "linesim.setup.load",
    "load_space": "linesim.study.space",
    "measure": "linesim.study.measure",
    "rank": "linesim.study.rank",
    "scan": "linesim.study.scan",
    "scan_to_file": "linesim.study.streamed",
    "setup_from": "linesim.setup.load",
    "vary": "linesim.study.vary",
}
__all__ = [
    "InputError",
    "__version__",
    "budget",
    "changed",
    "compare",
    "load_setup",
    "load_space",
    "measure",
    "rank",
    "scan",
    "scan_to_file",
    "setup_from",
    "vary",
]


def __getattr__(name: str) -> object:
    """Hand names on when they are first asked for, so that ``linesim --help`` stays quick."""
    if name not in _HOMES:
        msg = f"module 'linesim' has no attribute {name!r}"
        raise AttributeError(msg)
    home = import_module(_HOMES[name])
    return home if name in {"budget", "measure"} else getattr(home, name)
