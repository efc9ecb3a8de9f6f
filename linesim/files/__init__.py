"""
Images, CSV and JSON in and out; every write is atomic.

What reads images is handed on when a file asks for it: the libraries behind take longer to load
than a budget takes to work out.
"""

from typing import TYPE_CHECKING

from lazy_loader import attach

if TYPE_CHECKING:
    from linesim.files.jpeg_in import read_jpeg
    from linesim.files.png_in import read_png
    from linesim.files.tiff_in import read_tiff
    from linesim.files.tiff_rows import rows_of_tiff

__all__ = ["read_jpeg", "read_png", "read_tiff", "rows_of_tiff"]
__getattr__, __dir__, _ = attach(
    __name__,
    submod_attrs={
        "jpeg_in": ["read_jpeg"],
        "png_in": ["read_png"],
        "tiff_in": ["read_tiff"],
        "tiff_rows": ["rows_of_tiff"],
    },
)
