"""A shard of images as a tar file."""

import json
import tarfile
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

from linesim.dataset.export.loaders import metadata_line
from linesim.dataset.layout import stem
from linesim.dataset.plan.plan import Plan
from linesim.dataset.samples_in import read_record
from linesim.files.atomic import atomic_path

_MODE = 0o644


def write_tar(plan: Plan, folder: Path, path: Path, indices: Sequence[int]) -> None:
    """Lay the files of each image side by side, with one stem, in a tar file without dates."""
    with (
        atomic_path(path) as temporary,
        tarfile.open(temporary, "w", format=tarfile.USTAR_FORMAT) as tar,
    ):
        for index in indices:
            record = read_record(plan, folder, index)
            image, mask = (folder / record[key] for key in ("image", "mask"))
            parts = {
                image.suffix[1:]: image.read_bytes(),
                "mask.png": mask.read_bytes(),
                "json": json.dumps(metadata_line(record)).encode(),
            }
            for ending, data in parts.items():
                entry = tarfile.TarInfo(f"{stem(index)}.{ending}")
                entry.size, entry.mode = len(data), _MODE
                tar.addfile(entry, BytesIO(data))
