"""
Variants of a station side by side.

Its page, and what pages are made of, load when one is asked for.
"""

from typing import TYPE_CHECKING

from lazy_loader import attach

if TYPE_CHECKING:
    from linesim.studies.compare.page import write_compare_report

__all__ = ["write_compare_report"]
__getattr__, __dir__, _ = attach(__name__, submod_attrs={"page": ["write_compare_report"]})
