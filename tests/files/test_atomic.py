"""A file is there whole or not at all, whatever happens while it is written."""

import csv
import errno
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from linesim.files.atomic import atomic_path, json_text, write_bytes, write_json, write_text
from linesim.files.csv_out import write_csv
from linesim.setup.errors import InputError


def test_the_name_comes_last(tmp_path: Path) -> None:
    """Inside the block only a dot file exists, beside the final name, with the same ending."""
    final = tmp_path / "new" / "folder" / "scan.tif"
    with atomic_path(final) as temporary:
        temporary.write_bytes(b"half")
        assert temporary.parent == final.parent
        assert temporary.name.startswith(".")
        assert temporary.suffix == ".tif"
        assert not final.exists()
    assert final.read_bytes() == b"half"
    assert list(final.parent.iterdir()) == [final]


def write_half_then_raise(final: Path, fault: type[BaseException]) -> None:
    """Fail in the middle of writing."""
    with atomic_path(final) as temporary:
        temporary.write_bytes(b"half")
        raise fault


@pytest.mark.parametrize("fault", [RuntimeError, KeyboardInterrupt, SystemExit, MemoryError])
@pytest.mark.parametrize("before", [None, b"old"])
def test_an_exception_leaves_all_as_it_was(
    tmp_path: Path, fault: type[BaseException], before: bytes | None
) -> None:
    """The exception comes through; a former file stays, no new one appears, no dot file is left."""
    final = tmp_path / "a.json"
    if before is not None:
        final.write_bytes(before)
    with pytest.raises(fault):
        write_half_then_raise(final, fault)
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [before] * (before is not None)


KILLED = """
import sys, time
from linesim.files.atomic import atomic_path
with atomic_path(sys.argv[1]) as temporary:
    with temporary.open("wb") as stream:
        stream.write(b"half" * 10000)
        stream.flush()
        print("half", flush=True)
        time.sleep(60)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs SIGKILL")
@pytest.mark.parametrize("before", [None, b"old"])
def test_a_killed_process_leaves_no_half_file(tmp_path: Path, before: bytes | None) -> None:
    """Killed in the middle, the final name does not exist or still holds the former file."""
    final = tmp_path / "a.tif"
    if before is not None:
        final.write_bytes(before)
    command = [sys.executable, "-c", KILLED, str(final)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"half\n"
        process.kill()
        assert process.wait() == -signal.SIGKILL
    assert (final.read_bytes() if final.exists() else None) == before
    left = [path.name for path in tmp_path.iterdir() if path != final]
    assert len(left) == 1  # the half file, under a name that nobody takes for a result
    assert left[0].startswith(".part-")


@pytest.mark.skipif(os.name != "posix", reason="needs a limit on file sizes")
def test_a_disk_without_room(tmp_path: Path) -> None:
    """When the system takes no more bytes its reason is told, and nothing is left."""
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "from linesim.files.atomic import write_bytes\n"
        "from linesim.setup.errors import InputError\n"
        "try: write_bytes(sys.argv[1], bytes(5000))\n"
        "except InputError as error: print(error)\n"
    )
    final = tmp_path / "a.bin"
    told = subprocess.run(
        [sys.executable, "-c", code, str(final)], capture_output=True, text=True, check=True
    ).stdout
    assert told.startswith(f'output "{final}" cannot be written ({os.strerror(errno.EFBIG)}); ')
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_noticed_late(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some systems tell of a full disk only when the bytes are forced out."""

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"cannot be written \(No space left on device\)"):
        write_text(tmp_path / "a.txt", "x")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_without_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's reason is told (raised here, since root may write everywhere)."""

    def deny(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "open", deny)
    monkeypatch.setattr(Path, "write_bytes", deny)
    with pytest.raises(InputError, match=r"cannot be written \(Permission denied\)"):
        write_text(tmp_path / "a.txt", "x")


def test_a_file_where_a_folder_is_due(tmp_path: Path) -> None:
    """The file in the way is named, however deep the path goes on."""
    (tmp_path / "outputs").write_text("x")
    with pytest.raises(InputError) as caught:
        write_text(tmp_path / "outputs" / "run" / "a.txt", "x")
    assert str(caught.value) == (
        f'output "{tmp_path / "outputs" / "run" / "a.txt"}" cannot be written: '
        f'"{tmp_path / "outputs"}" is a file; expected a folder there'
    )


def test_folders_and_devices_are_not_replaced(tmp_path: Path) -> None:
    """A folder or a pipe under the final name stays what it is."""
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="is a folder"):
        write_text(tmp_path / "folder", "x")
    with pytest.raises(InputError, match="is a device or a pipe"):
        write_text(tmp_path / "pipe", "x")
    assert (tmp_path / "folder").is_dir()
    assert (tmp_path / "pipe").is_fifo()


def test_a_link_is_replaced_and_not_followed(tmp_path: Path) -> None:
    """What it leads to stays as it was, also where nothing is there; folders may be links."""
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "a.txt").write_text("old")
    (tmp_path / "a.txt").symlink_to(tmp_path / "store" / "a.txt")
    (tmp_path / "b.txt").symlink_to(tmp_path / "store" / "b.txt")
    (tmp_path / "folder").symlink_to(tmp_path / "store")
    for name in ("a.txt", "b.txt", "folder/c.txt"):
        write_text(tmp_path / name, "new")
        assert not (tmp_path / name).is_symlink()
        assert (tmp_path / name).read_text() == "new"
    assert {each.name for each in (tmp_path / "store").iterdir()} == {"a.txt", "c.txt"}
    assert (tmp_path / "store" / "a.txt").read_text() == "old"


@pytest.mark.skipif(os.name != "posix", reason="POSIX permissions")
def test_permissions_are_those_of_any_new_file(tmp_path: Path) -> None:
    """Results can be read by whoever can read other new files there."""
    (tmp_path / "plain").write_text("x")
    write_text(tmp_path / "atomic", "x")
    assert (tmp_path / "atomic").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_bytes_and_text_are_exact(tmp_path: Path) -> None:
    r"""UTF-8, and ``\n`` stays one byte on every system."""
    write_text(tmp_path / "a.txt", "1 µm\nλ\n")
    assert (tmp_path / "a.txt").read_bytes() == b"1 \xc2\xb5m\n\xce\xbb\n"
    write_bytes(tmp_path / "a.bin", b"\r\n\x00")
    assert (tmp_path / "a.bin").read_bytes() == b"\r\n\x00"


def test_json_is_what_was_put_in(tmp_path: Path) -> None:
    """Order, numbers and letters are kept; numpy's scalars become plain numbers."""
    value = {"z": 0.1, "a": [1, None, True], "µ": {"x": np.float32(0.5), "n": np.int64(3)}}
    write_json(tmp_path / "a.json", value)
    text = (tmp_path / "a.json").read_bytes().decode("utf-8")
    assert text == json_text(value)
    assert text.startswith('{\n  "z": 0.1,\n  "a": [\n')
    assert text.endswith("}\n")
    assert list(json.loads(text)) == ["z", "a", "µ"]
    assert json.loads(text)["µ"] == {"x": 0.5, "n": 3}


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -np.inf, np.float32("nan")])
def test_json_holds_no_nan(tmp_path: Path, number: float) -> None:
    """The number's place is told (RFC 8259, section 6: NaN and infinity are not permitted)."""
    value = {"signal": {"snr": [1.0, number]}}
    with pytest.raises(ValueError, match=r"^signal\.snr\[1\] is -?(nan|inf): JSON holds"):
        write_json(tmp_path / "a.json", value)
    assert list(tmp_path.iterdir()) == []


def test_json_refuses_what_has_no_place(tmp_path: Path) -> None:
    """Arrays and objects are the caller's to turn into lists."""
    with pytest.raises(TypeError, match="has no place in JSON"):
        write_json(tmp_path / "a.json", {"x": {1, 2}})
    assert list(tmp_path.iterdir()) == []


def test_csv_comes_back_in_full(tmp_path: Path) -> None:
    """Python's reader gives every digit back; quotes, commas and empty cells survive."""
    rows = [[1 / 3, "a, b", None], [np.float64(1e-20), 'say "x"', 3]]
    write_csv(tmp_path / "a.csv", ["snr", "note", "n"], rows)
    data = (tmp_path / "a.csv").read_bytes()
    assert b"\r" not in data
    read = list(csv.reader(data.decode("utf-8").splitlines()))
    assert read[0] == ["snr", "note", "n"]
    assert [float(row[0]) for row in read[1:]] == [1 / 3, 1e-20]
    assert [row[1:] for row in read[1:]] == [["a, b", ""], ['say "x"', "3"]]


def test_csv_rows_fit_their_header(tmp_path: Path) -> None:
    """A short row or a NaN is refused before a file appears."""
    with pytest.raises(ValueError, match="row 2 has 1 cells, the header has 2"):
        write_csv(tmp_path / "a.csv", ["a", "b"], [[1, 2], [3]])
    with pytest.raises(ValueError, match="row 1, column b is nan"):
        write_csv(tmp_path / "a.csv", ["a", "b"], [[1, np.nan]])
    assert list(tmp_path.iterdir()) == []


def test_writing_at_the_same_time(tmp_path: Path) -> None:
    """Two writers of one name do not meet; the one that ends last wins, whole."""
    final = tmp_path / "a.txt"
    with atomic_path(final) as one, atomic_path(final) as two:
        assert one != two
        one.write_text("one" * 1000)
        two.write_text("two")
    assert final.read_text() == "one" * 1000
    assert list(tmp_path.iterdir()) == [final]


def test_a_table_is_harmless_to_a_spreadsheet(tmp_path: Path) -> None:
    """Texts that would be worked out get an apostrophe; numbers, as texts too, stay as they are."""
    texts = [
        "=1+1",
        "+cmd",
        "-x.png",
        "@a",
        "\tb",
        " =c",
        "－d",
        "-1.5",
        "+2e-3",
        -1.5,
        "a=b",
        "1-2",
    ]
    write_csv(tmp_path / "a.csv", ["=n"], [[each] for each in texts])
    with (tmp_path / "a.csv").open(newline="", encoding="utf-8") as file:
        cells = [row[0] for row in csv.reader(file)]
    assert cells[:8] == ["'=n", "'=1+1", "'+cmd", "'-x.png", "'@a", "'\tb", "' =c", "'－d"]
    assert cells[8:] == ["-1.5", "+2e-3", "-1.5", "a=b", "1-2"]
