"""
The local page with sliders: what a station would deliver, while its numbers are moved.

It loads when it is asked for, for its server is an extra.
"""

from typing import TYPE_CHECKING

from lazy_loader import attach

if TYPE_CHECKING:
    from linesim.preview.serve import run

__all__ = ["run"]
__getattr__, __dir__, _ = attach(__name__, submod_attrs={"serve": ["run"]})
