"""
JPEG, grey and colour, 8 bit.

Pillow's own JPEG class is used directly: it refuses a file that ends too soon, where other
decoders fill up with grey, and it leaves the limit on the size to our check. imageio would go
through `Image.open`, which refuses images above 179 million pixels.
"""

from pathlib import Path

import numpy as np
from PIL import JpegImagePlugin

from linesim.files.pixels import Pixels, RefusedImageError, SizeCheck, is_srgb_profile


def read_jpeg(path: Path, check_size: SizeCheck) -> Pixels:
    """Read a JPEG file."""
    with path.open("rb") as stream:
        image = JpegImagePlugin.JpegImageFile(stream)
        check_size(image.height, image.width)
        if image.mode not in {"L", "RGB"}:
            msg = f"holds {image.mode} colours"
            raise RefusedImageError(msg, "grey or RGB")
        profile = image.info.get("icc_profile", b"")
        orientation = int(image.getexif().get(0x0112, 1))
        codes = np.asarray(image)
    return Pixels(
        codes=codes,
        full_scale=255,
        orientation=orientation,
        foreign_profile=bool(profile) and not is_srgb_profile(profile),
    )
