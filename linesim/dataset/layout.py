"""Names of all files of a set; POSIX slashes, short, the same on every system."""

from collections.abc import Iterator
from pathlib import Path

from linesim.dataset.plan.plan import Plan

SET, PLAN, SETUP = "set.json", "plan.toml", "setup.toml"
CARD, SHEET = "README.md", "samples.png"
MANIFEST, FAULTS, IMAGES = "manifest.csv", "faults.csv", "images.csv"
CLASSES = "labels/classes.txt"
FOLDERS = ("images", "masks", "records", "labels", "annotations")
_DIGITS = 6


def stem(index: int) -> str:
    """Name an image."""
    return f"{index:0{_DIGITS}d}"


def image_name(plan: Plan, index: int) -> str:
    """Name the file of an image."""
    ending = "png" if plan.images.format == "png" else "tif"
    return f"images/{plan.split(index)}/{stem(index)}.{ending}"


def files_of(plan: Plan, index: int) -> tuple[str, ...]:
    """Name all files of an image in the order in which they are written, the record last."""
    split, name = plan.split(index), stem(index)
    boxes = (f"labels/{split}/{name}.txt",) if plan.labels.box_files else ()
    return (
        image_name(plan, index),
        f"masks/{split}/{name}.png",
        *boxes,
        f"records/{split}/{name}.json",
    )


def is_done(plan: Plan, folder: Path, index: int) -> bool:
    """Tell whether an image is there, whole."""
    return all((folder / name).is_file() for name in reversed(files_of(plan, index)))


def annotations_name(split: str) -> str:
    """Name the file of a split's annotations."""
    return f"annotations/{split}.json"


def leftovers(folder: Path) -> Iterator[Path]:
    """Find what killed writers left behind."""
    yield from folder.glob(".part-*")
    for name in FOLDERS:
        yield from (folder / name).rglob(".part-*")


def tidy(folder: Path) -> None:
    """Remove what killed writers left behind."""
    for part in leftovers(folder):
        part.unlink(missing_ok=True)
