"""Folders of images, where a file may stand for many."""

import re
from pathlib import Path

from linesim.setup.errors import refuse

ENDINGS = (".png", ".tif", ".tiff", ".jpg", ".jpeg")


def images_in(folder: Path) -> tuple[Path, ...]:
    """Name the images of a folder, in the order in which people count: 2 before 10."""
    found = [
        each
        for each in folder.iterdir()
        if each.suffix.lower() in ENDINGS and not each.name.startswith(".") and each.is_file()
    ]
    if not found:
        refuse(f'folder "{folder}": holds no image; expected {", ".join(ENDINGS)} files in it')
    return tuple(sorted(found, key=lambda each: _counted(each.name)))


def _counted(name: str) -> tuple[tuple[int, str], ...]:
    parts = re.split(r"(\d+)", name.lower())
    return tuple((int(each), "") if each.isdigit() else (-1, each) for each in parts)


def all_images(paths: "list[Path]") -> list[Path]:
    """Put the images of folders in the place of the folders; files need not be there."""
    return [image for path in paths for image in (images_in(path) if path.is_dir() else (path,))]
