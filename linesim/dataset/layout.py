"""Names of all files of a set; POSIX slashes, short, the same on every system."""

from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from linesim.dataset.plan.plan import Plan

SET, PLAN, SETUP = "set.json", "plan.toml", "setup.toml"
CARD, SHEET = "README.md", "samples.png"
MANIFEST, FAULTS, IMAGES = "manifest.csv", "faults.csv", "images.csv"
CLASSES, DATA = "labels/classes.txt", "data.yaml"
FOLDERS = ("images", "samples", "masks", "records", "labels", "annotations", "folders", "shards")
_DIGITS = 6


def stem(index: int) -> str:
    """Name an image."""
    return f"{index:0{_DIGITS}d}"


def image_name(plan: Plan, index: int) -> str:
    """Name the file of an image; stretched, it is a PNG file whatever the samples are."""
    ending = _ending(plan) if plan.images.stretch == "none" else "png"
    return f"images/{plan.split(index)}/{stem(index)}.{ending}"


def samples_names(plan: Plan, index: int) -> tuple[str, ...]:
    """Name the file of the delivered samples, where they have one of their own."""
    if not plan.images.has_samples:
        return ()
    return (f"samples/{plan.split(index)}/{stem(index)}.{_ending(plan)}",)


def _ending(plan: Plan) -> str:
    return "png" if plan.images.format == "png" else "tif"


def mask_name(plan: Plan, index: int) -> str:
    """Name the file of a mask."""
    return f"masks/{plan.split(index)}/{stem(index)}.png"


def boxes_names(plan: Plan, index: int) -> tuple[str, ...]:
    """Name the file of boxes, where there is one."""
    return (f"labels/{plan.split(index)}/{stem(index)}.txt",) if plan.labels.box_files else ()


def record_name(plan: Plan, index: int) -> str:
    """Name the file of a record."""
    return f"records/{plan.split(index)}/{stem(index)}.json"


def files_of(plan: Plan, index: int) -> tuple[str, ...]:
    """Name all files of an image in the order in which they are written, the record last."""
    return (
        image_name(plan, index),
        *samples_names(plan, index),
        mask_name(plan, index),
        *boxes_names(plan, index),
        record_name(plan, index),
    )


def set_names(plan: Plan) -> tuple[str, ...]:
    """Name the files of a set, but for tables and copies."""
    images = (name for index in range(plan.count) for name in files_of(plan, index))
    return (SET, PLAN, SETUP, CARD, SHEET, *images)


def is_done(plan: Plan, folder: Path, index: int) -> bool:
    """Tell whether an image is there, whole."""
    return all((folder / name).is_file() for name in reversed(files_of(plan, index)))


def annotations_name(split: str) -> str:
    """Name the file of a split's annotations."""
    return f"annotations/{split}.json"


def metadata_name(split: str) -> str:
    """Name the file of lines of JSON that lies beside a split's images."""
    return f"images/{split}/metadata.jsonl"


def folder_names(image: str, split: str, name: str) -> tuple[str, str]:
    """Name the copies of an image and its mask in folders by class."""
    own = PurePosixPath(image)
    return (
        f"folders/images/{split}/{name}/{own.name}",
        f"folders/masks/{split}/{name}/{own.stem}.png",
    )


def shard_name(split: str, number: int, ending: str) -> str:
    """Name a shard of a split."""
    return f"shards/{split}-{number:0{_DIGITS}d}.{ending}"


def leftovers(folder: Path) -> Iterator[Path]:
    """Find what killed writers left behind."""
    yield from folder.glob(".part-*")
    for name in FOLDERS:
        yield from (folder / name).rglob(".part-*")


def tidy(folder: Path) -> None:
    """Remove what killed writers left behind."""
    for part in leftovers(folder):
        part.unlink(missing_ok=True)
