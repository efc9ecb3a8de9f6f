"""Shards as Parquet: what pyarrow itself reads back, and what is said without it."""

import json
import sys
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from shutil import copytree
from typing import Any

import imageio.v3 as iio
import numpy as np
import pyarrow.parquet as pq
import pytest
from numpy.testing import assert_array_equal

from linesim.dataset.export import parquet
from linesim.dataset.export.copies import write_copies
from linesim.dataset.layout import SHEET
from linesim.dataset.make import make_set, ready
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.record import class_names
from linesim.dataset.room import need_bytes
from linesim.dataset.verify import verify
from linesim.setup.errors import InputError
from linesim.workers.tasks import Alone


def asked(plan: Plan, most: int) -> Plan:
    """Ask for Parquet files of so many images."""
    return replace(plan, images=replace(plan.images, parquet_images=most))


@pytest.fixture(scope="module")
def laid_out(plan: Plan, made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Lay a finished set out again."""
    folder = tmp_path_factory.mktemp("laid") / "set"
    copytree(made, folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parquet, "_GROUP_BYTES", 1)  # each row a group of its own
        write_copies(asked(plan, 4), folder)
    return folder


def rows_of(folder: Path) -> list[dict[str, Any]]:
    """Read all shards with pyarrow, in the order of their names."""
    paths = sorted((folder / "shards").glob("*.parquet"))
    return [row for path in paths for row in pq.read_table(path).to_pylist()]


def test_each_image_is_a_row_with_its_files(laid_out: Path, plan: Plan) -> None:
    """Bytes are those of the files; labels are those of the record, which is there whole."""
    rows = rows_of(laid_out)
    paths = [path.relative_to(laid_out).as_posix() for path in laid_out.glob("images/*/*.png")]
    assert sorted(row["image"]["path"] for row in rows) == sorted(paths)
    assert len(rows) == plan.count
    for row in rows:
        record = json.loads(row["record"])
        for key in ("image", "mask"):
            assert row[key]["path"] == record[key]
            assert row[key]["bytes"] == (laid_out / record[key]).read_bytes()
        labelled = [each for each in record["faults"] if each["labelled"]]
        assert row["boxes"] == [each["bbox"] for each in labelled]
        assert row["classes"] == [each["kind"] for each in labelled]
        assert row["split"] == record["split"] == Path(row["image"]["path"]).parent.name
    assert sum(len(row["boxes"]) for row in rows) > 20


def test_what_the_cells_hold_is_an_image_and_its_mask(laid_out: Path) -> None:
    """An independent reader decodes both; values of the mask are the classes, and one."""
    table = pq.ParquetFile(min((laid_out / "shards").glob("train-*.parquet")))
    columns = ["image", "mask", "width", "height", "class_ids"]
    batches = table.iter_batches(batch_size=3, columns=columns)
    rows = [row for batch in batches for row in batch.to_pylist()]
    assert len(rows) == 4
    for row in rows:
        image, mask = (iio.imread(BytesIO(row[key]["bytes"])) for key in ("image", "mask"))
        assert image.shape == mask.shape == (row["height"], row["width"])
        assert_array_equal(
            np.setdiff1d(np.unique(mask), [0]), np.unique([k + 1 for k in row["class_ids"]])
        )


def test_shards_are_of_one_split_and_no_larger_than_asked(laid_out: Path, plan: Plan) -> None:
    """Two or more files where a split has more images; each says that it is simulated."""
    paths = sorted((laid_out / "shards").iterdir())
    for path in paths:
        found = pq.read_table(path)
        assert found.num_rows <= 4
        assert set(found["split"].to_pylist()) == {path.name.partition("-")[0]}
        told = pq.read_schema(path).metadata
        assert told[b"simulated"] == b"true"
        assert tuple(json.loads(told[b"classes"])) == class_names(plan)
    counts = [sum(plan.split(k) == split for k in range(12)) for split in ("train", "val", "test")]
    assert len(paths) == sum(-(-count // 4) for count in counts)
    assert len(paths) > 3


def test_a_reader_need_not_take_the_whole_file(
    laid_out: Path, plan: Plan, made: Path, tmp_path: Path
) -> None:
    """A row group ends where its files fill it: one a row, and one for all of these small ones."""
    for path in (laid_out / "shards").iterdir():
        told = pq.ParquetFile(path).metadata
        assert told.num_row_groups == told.num_rows
    copytree(made, tmp_path / "set")
    write_copies(asked(plan, 4), tmp_path / "set")
    shards = tmp_path / "set" / "shards"
    assert {pq.ParquetFile(path).metadata.num_row_groups for path in shards.iterdir()} == {1}
    assert rows_of(tmp_path / "set") == rows_of(laid_out)
    written = {path: path.read_bytes() for path in shards.iterdir()}
    write_copies(asked(plan, 4), tmp_path / "set")
    assert {path: path.read_bytes() for path in shards.iterdir()} == written


def test_a_set_lists_them_and_names_a_damaged_one(plan_file: Path, tmp_path: Path) -> None:
    """Asked for in the plan, the files are in the list of hashes and on the card."""
    text = plan_file.read_text("utf-8").replace("[images]", "[images]\nparquet_shards = 2")
    (tmp_path / "plan.toml").write_text(text, "utf-8")
    (tmp_path / "station.toml").write_bytes((plan_file.parent / "station.toml").read_bytes())
    folder = tmp_path / "set"
    make_set(load_plan(tmp_path / "plan.toml", count=3), folder, Alone())
    names = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.parquet"))
    assert len(names) == 2
    listed = (folder / "files.sha256").read_text("utf-8")
    assert all(f"  {name}\n" in listed for name in names)
    assert "`shards/SPLIT-N.parquet`" in (folder / "README.md").read_text("utf-8")
    assert verify(folder, 0).faults == ()
    (folder / names[0]).write_bytes((folder / names[0]).read_bytes()[:-1])
    (folder / names[1]).write_bytes((folder / SHEET).read_bytes())
    found = verify(folder, 0).faults
    assert found[0].startswith(f"{names[0]} is not as it was written: other bytes")
    assert found[1] == f"{names[1]} is not as it was written: it holds what {SHEET} should hold"


def test_without_pyarrow_nothing_is_begun(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence says what to install; a plan that asks for none needs none."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(InputError, match=r"pyarrow is not installed; .*linesim\[parquet\]"):
        make_set(asked(plan, 4), tmp_path / "set", Alone())
    assert list(tmp_path.iterdir()) == []
    assert sum(ready(plan, tmp_path / "set", resume=False).images.values()) == plan.count


def test_a_full_disk_leaves_no_half_file(
    plan: Plan, made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What stops in the middle of a table leaves neither it nor its temporary file."""
    copytree(made, tmp_path / "set")

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pq.ParquetWriter, "write_table", full)
    with pytest.raises(InputError, match=r"cannot be written \(No space left on device\)"):
        write_copies(asked(plan, 4), tmp_path / "set")
    assert list((tmp_path / "set" / "shards").iterdir()) == []


def test_the_plan_tells_sets_with_and_without_apart(plan: Plan) -> None:
    """A set is not gone on with by another layout, and takes the room of its copies."""
    assert fingerprint(asked(plan, 4)) != fingerprint(plan)
    assert need_bytes(asked(plan, 4)) > 1.2 * need_bytes(plan)
