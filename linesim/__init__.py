"""Simulate what a proposed line-scan inspection set-up would capture."""

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from linesim.figures.budget import budget
    from linesim.setup.errors import InputError
    from linesim.setup.lights import light_views
    from linesim.setup.load import changed, load_setup, setup_from
    from linesim.studies.compare.study import compare
    from linesim.studies.design.job import load_job
    from linesim.studies.design.study import design
    from linesim.studies.fit.study import fit
    from linesim.studies.measure import functions as measure
    from linesim.studies.rank.space import load_space
    from linesim.studies.rank.study import rank
    from linesim.studies.scan.streamed import scan_to_file
    from linesim.studies.scan.study import scan
    from linesim.studies.vary.study import vary

_HOMES = {
    "InputError": "linesim.setup.errors",
    "budget": "linesim.figures.budget",
    "changed": "linesim.setup.load",
    "compare": "linesim.studies.compare.study",
    "design": "linesim.studies.design.study",
    "fit": "linesim.studies.fit.study",
    "light_views": "linesim.setup.lights",
    "load_job": "linesim.studies.design.job",
    "load_setup": "linesim.setup.load",
    "load_space": "linesim.studies.rank.space",
    "rank": "linesim.studies.rank.study",
    "scan": "linesim.studies.scan.study",
    "scan_to_file": "linesim.studies.scan.streamed",
    "setup_from": "linesim.setup.load",
    "vary": "linesim.studies.vary.study",
}
__all__ = [
    "InputError",
    "__version__",
    "budget",
    "changed",
    "compare",
    "design",
    "fit",
    "light_views",
    "load_job",
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
    if name == "measure":
        return import_module("linesim.studies.measure.functions")
    if name not in _HOMES:
        msg = f"module 'linesim' has no attribute {name!r}"
        raise AttributeError(msg)
    return getattr(import_module(_HOMES[name]), name)
