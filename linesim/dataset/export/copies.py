"""Copies of a finished set's images: folders by kind, and shards of so many images each."""

from collections.abc import Iterator
from pathlib import Path

from linesim.dataset.export.loaders import class_folder
from linesim.dataset.export.parquet import write_parquet
from linesim.dataset.export.tar import write_tar
from linesim.dataset.layout import folder_names, shard_name
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.record import Record
from linesim.dataset.samples_in import read_record
from linesim.files.atomic import write_bytes


def copies(plan: Plan, record: Record) -> Iterator[tuple[str, str]]:
    """Name the copies of an image's files in folders by class, each with what it is a copy of."""
    if plan.images.folders:
        names = folder_names(record["image"], record["split"], class_folder(record))
        yield from zip(names, (record["image"], record["mask"]), strict=True)


def write_copies(plan: Plan, folder: Path) -> tuple[str, ...]:
    """Write folders by class and shards of a finished set."""
    written = []
    for index in range(plan.count):
        for name, source in copies(plan, read_record(plan, folder, index)):
            write_bytes(folder / name, (folder / source).read_bytes())
            written.append(name)
    for most, ending, write in (
        (plan.images.shard_images, "tar", write_tar),
        (plan.images.parquet_images, "parquet", write_parquet),
    ):
        for name, some in _shards(plan, most, ending):
            write(plan, folder, folder / name, some)
            written.append(name)
    return tuple(written)


def _shards(plan: Plan, most: int, ending: str) -> Iterator[tuple[str, list[int]]]:
    """Name the shards of a set, with the images of each: at most so many, none where 0."""
    for split in SPLITS if most else ():
        indices = [index for index in range(plan.count) if plan.split(index) == split]
        for number, first in enumerate(range(0, len(indices), most)):
            yield shard_name(split, number, ending), indices[first : first + most]
