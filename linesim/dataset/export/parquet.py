"""
A shard of images as a Parquet file (extra ``parquet``): a row an image, whole files in its cells.

Images and masks are structs of ``bytes`` (the file as it lies in the set) and ``path`` (its name
there), as readers of tables with images take them. A row group is small enough to be read at once.
"""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from linesim.dataset.layout import record_name
from linesim.dataset.plan.plan import Plan
from linesim.dataset.record import class_names
from linesim.dataset.samples_in import read_record
from linesim.files.atomic import atomic_path
from linesim.setup.errors import InputError

_GROUP_BYTES = 16 * 2**20
"""Of files in a row group, from which on the next one begins; our choice."""

Row = dict[str, Any]


def refuse_without_pyarrow(plan: Plan) -> None:
    """Refuse a plan that asks for Parquet where the library for it is missing."""
    if plan.images.parquet_images:
        _library()


def write_parquet(plan: Plan, folder: Path, path: Path, indices: Sequence[int]) -> None:
    """Write some images of a set as a table."""
    pa, pq = _library()
    schema = _schema(pa, class_names(plan))
    with (
        atomic_path(path) as temporary,
        pq.ParquetWriter(
            temporary,
            schema,
            # the other columns hold next to nothing, or files that are packed already
            compression={"record": "zstd"},
            use_dictionary=["split"],
            write_statistics=["split", "width", "height"],
        ) as writer,
    ):
        for rows in _groups(_row(plan, folder, index) for index in indices):
            writer.write_table(pa.Table.from_pylist(rows, schema), row_group_size=len(rows))


def _library() -> tuple[Any, Any]:
    try:
        import pyarrow as pa  # noqa: PLC0415 -- of the extra "parquet"
        import pyarrow.parquet as pq  # noqa: PLC0415 -- the same
    except ImportError:
        msg = (
            "images.parquet_shards: pyarrow is not installed; expected "
            'pip install "linesim[parquet]"'
        )
        raise InputError(msg) from None
    return pa, pq


def _schema(pa: Any, classes: Sequence[str]) -> Any:  # noqa: ANN401 -- an optional library
    file = pa.struct([("bytes", pa.binary()), ("path", pa.string())])
    columns = [
        ("image", file),
        ("mask", file),
        ("width", pa.int32()),
        ("height", pa.int32()),
        ("split", pa.string()),
        ("boxes", pa.list_(pa.list_(pa.float32()))),
        ("classes", pa.list_(pa.string())),
        ("class_ids", pa.list_(pa.int32())),
        ("record", pa.string()),
    ]
    return pa.schema(columns, {"simulated": "true", "classes": json.dumps(classes)})


def _row(plan: Plan, folder: Path, index: int) -> Row:
    """Put an image, its mask and its labels into a row; all else stands in its record."""
    record = read_record(plan, folder, index)
    labelled = [each for each in record["faults"] if each["labelled"]]
    return {
        **{key: _file(folder, record[key]) for key in ("image", "mask")},
        **{key: record[key] for key in ("width", "height", "split")},
        "boxes": [each["bbox"] for each in labelled],
        "classes": [each["kind"] for each in labelled],
        "class_ids": [each["class_id"] for each in labelled],
        "record": (folder / record_name(plan, index)).read_text("utf-8"),
    }


def _file(folder: Path, name: str) -> dict[str, Any]:
    return {"bytes": (folder / name).read_bytes(), "path": name}


def _groups(rows: Iterator[Row]) -> Iterator[list[Row]]:
    """Gather rows until their files fill a group."""
    held: list[Row] = []
    size = 0
    for row in rows:
        held.append(row)
        size += sum(len(row[key]["bytes"]) for key in ("image", "mask"))
        if size >= _GROUP_BYTES:
            yield held
            held, size = [], 0
    if held:
        yield held
