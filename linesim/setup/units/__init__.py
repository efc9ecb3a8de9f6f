"""
Units that few files have.

They load when a file has one: pint takes longer to load than many a command to answer.
"""

from typing import TYPE_CHECKING

from lazy_loader import attach

if TYPE_CHECKING:
    from linesim.setup.units.by_pint import asked_of_pint

__all__ = ["asked_of_pint"]
__getattr__, __dir__, _ = attach(__name__, submod_attrs={"by_pint": ["asked_of_pint"]})
