"""What the page changes is checked like a file, names no file, and is written as one that runs."""

import io
import tomllib
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.figures.budget import budget, budget_on
from linesim.preview.control_kinds import SHARE, Slider
from linesim.preview.controls import controls, share_of_longest
from linesim.preview.desk import Desk
from linesim.preview.uploads import Uploads, decoded
from linesim.preview.variant import variant
from linesim.setup.errors import InputError
from linesim.setup.load import changed, load_setup, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan


def png(image: np.ndarray) -> bytes:
    """Pack an image."""
    return iio.imwrite("<bytes>", image, extension=".png")


GREY = np.random.default_rng(4).integers(0, 256, size=(400, 700), dtype=np.uint8)


def made(station: Setup, **changes: Any) -> Setup:  # noqa: ANN401 -- as the page sends them
    """Give the setup that the page has."""
    return variant(station, {k.replace("__", "."): v for k, v in changes.items()}, Uploads()).setup


def test_every_control_moves_its_own_key(station: Setup) -> None:
    """The value that a control reads from a setup is the one that was set."""
    for control in controls(station):
        if not isinstance(control, Slider) or control.key == SHARE:
            continue
        wanted = sum(control.limits) / 2
        value = f"{wanted} {control.unit}" if control.unit else wanted
        found = variant(station, {control.key: value}, Uploads()).setup
        assert control.value(found) == pytest.approx(wanted, rel=1e-12)


def test_an_exposure_share_is_of_the_line_period(station: Setup) -> None:
    """Half of the period at 60 m/min and 75 µm a line: 37.5 µs, and twice as fast half of that."""
    slow, fast = (
        variant(station, {SHARE: 0.5, "transport.speed": speed}, Uploads()).setup
        for speed in ("60 m/min", "120 m/min")
    )
    assert slow.acquisition.exposure == pytest.approx(37.5, rel=1e-12)
    assert fast.acquisition.exposure == pytest.approx(18.75, rel=1e-12)
    assert share_of_longest(slow) == pytest.approx(0.5, rel=1e-12)
    whole = variant(station, {SHARE: 1}, Uploads()).setup
    assert whole.acquisition.exposure == "full"


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("target.image", "../secret.png"),
        ("light.spectrum", "curve.csv"),
        ("camera.quantum_efficiency", "curve.csv"),
        ("target", "../../secret.png"),
        ("target", "upload-9"),
        ("camera.gain", ["x"]),
        ("no.such", 1),
        (SHARE, 0),
        (SHARE, 1.5),
        (SHARE, "half"),
        ("lens.f_number", "wide"),
        ("transport.speed", "-5 m/min"),
    ],
)
def test_what_has_no_control_is_refused(station: Setup, key: str, value: object) -> None:
    """No key that names a file can be set, and a bad value gets a sentence that names it."""
    with pytest.raises(InputError) as refusal:
        variant(station, {key: value}, Uploads())
    assert all(len(fault) > 20 for fault in refusal.value.faults)


@pytest.mark.parametrize("name", ["flat", "edge", "bars", "star", "steps", "tile"])
def test_a_built_in_target_fits_the_station(station: Setup, name: str) -> None:
    """It is as wide as the line sees, at least, and has three pixels in an object pixel."""
    found = made(station, target=name)
    assert found.target.image == name
    assert found.target.width_mm == pytest.approx(192 * 0.075, rel=1e-4)
    assert found.target.pixel_size_um == pytest.approx(25.0)
    # binning changes the samples, not what lies under the camera
    binned = made(station, target=name, acquisition__binning="4x4")
    assert binned.target == found.target


def test_a_large_line_gets_a_target_that_can_be_drawn(station: Setup) -> None:
    """For 16384 pixels the target keeps its width and stays under twelve million pixels."""
    wide = changed(station, {"camera.pixels": 16_384, "target.width": None, "target.height": None})
    target = variant(wide, {"target": "foil"}, Uploads()).setup.target
    assert target.image == "foil"
    other = variant(wide, {"target": "edge"}, Uploads()).setup.target
    assert other.width_mm is not None
    assert other.height_mm is not None
    pixels = 1e6 * other.width_mm * other.height_mm / other.pixel_size_um**2
    assert other.width_mm == pytest.approx(16_384 * 0.075, rel=1e-4)
    assert pixels < 12.1e6


def test_a_written_setup_gives_the_same_scan(station: Setup, tmp_path: Path) -> None:
    """What is downloaded runs, from anywhere, and gives the image that the page shows."""
    desk = Desk(station, "small.toml", workers=1)
    changes = {
        "light.illuminance": "33.3 klx",
        SHARE: 0.61,
        "acquisition.binning": "2x2",
        "camera.gain": "0.05 DN/e",
        "target": "edge",
    }
    file = tmp_path / "setup.toml"
    file.write_text(desk.written({"changes": changes}), "utf-8")
    desk.close()
    found = variant(station, changes, Uploads()).setup
    again = load_setup(file)
    assert again == found
    assert_array_equal(scan(again, 5).image, scan(found, 5).image)


def test_files_of_a_setup_are_named_as_seen_from_it(station: Setup, tmp_path: Path) -> None:
    """A setup with an image file says where it must be saved, and runs there."""
    (tmp_path / "grey.png").write_bytes(png(GREY))
    texts = {**station.texts, "target": {"image": "grey.png", "pixel_size": "25 um"}}
    desk = Desk(setup_from(texts, tmp_path), "grey.toml", workers=1)
    text = desk.written({"changes": {"lens.f_number": 5.6}})
    desk.close()
    assert text.startswith("# File names in here are seen from the folder of the setup")
    assert str(tmp_path) not in text
    (tmp_path / "again.toml").write_text(text, "utf-8")
    assert load_setup(tmp_path / "again.toml").lens.f_number == 5.6


def test_an_own_image_stands_in_and_is_named_when_written(station: Setup, tmp_path: Path) -> None:
    """An image in memory gives the scan that its file gives beside the written setup."""
    desk = Desk(station, "small.toml", workers=1)
    body = png(GREY)
    word = desk.uploads.add(decoded(body, "C:\\pictures\\grey.png", "srgb"))
    changes = {"target": word, "target.pixel_size": "25 um", SHARE: 0.5}
    found = desk.variant({"changes": changes})
    ready = desk.references.own(found)
    seen = scan(found.setup, 2, ready.reference)
    text = desk.written({"changes": changes})
    desk.close()
    assert text.startswith("# Put the image grey.png beside this file.")
    assert tomllib.loads(text)["target"]["image"] == "grey.png"
    (tmp_path / "grey.png").write_bytes(body)
    (tmp_path / "setup.toml").write_text(text, "utf-8")
    assert_array_equal(scan(load_setup(tmp_path / "setup.toml"), 2).image, seen.image)


def test_an_own_image_is_judged_as_its_file_is(station: Setup, tmp_path: Path) -> None:
    """Level, brightest part and texture of an image in memory are those of the file."""
    desk = Desk(station, "small.toml", workers=1)
    random = np.random.default_rng(1)
    grain = np.clip(random.normal(120, 6, (256, 256)), 0, 255).astype(np.uint8)
    word = desk.uploads.add(decoded(png(grain), "grain.png", "srgb"))
    changes = {"target": word, "target.pixel_size": "25 um"}
    found = desk.variant({"changes": changes})
    ready = desk.references.own(found)
    assert desk.references.own(found) is ready
    text = desk.written({"changes": changes})
    desk.close()
    (tmp_path / "grain.png").write_bytes(png(grain))
    (tmp_path / "setup.toml").write_text(text, "utf-8")
    file = budget(load_setup(tmp_path / "setup.toml"))
    assert budget_on(found.setup, ready.size).as_dict() == file.as_dict()


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/passwd", "passwd.png"),
        ("..\\..\\boot.ini", "boot.png"),
        ("/", "image.png"),
        ("..", "image.png"),
        ("\x00a\nb.png", "ab.png"),
        ('"x<y>.tif', "xy.tif"),
        ("ü ñ.jpeg", "ü ñ.jpeg"),
        ("x" * 300 + ".png", "x" * 80 + ".png"),
    ],
)
def test_of_a_name_only_the_last_part_is_kept(name: str, kept: str) -> None:
    """Whatever a browser calls its file, no path comes of it."""
    assert decoded(png(GREY), name, "srgb").name == kept


def test_the_last_two_images_are_held() -> None:
    """Memory stays bounded, and an image that was let go is asked for again in a sentence."""
    uploads = Uploads()
    words = [uploads.add(decoded(png(GREY), f"{k}.png", "srgb")) for k in range(4)]
    assert list(uploads.names()) == words[2:]
    with pytest.raises(InputError, match="choose the file again"):
        uploads.get(words[0])


def test_images_that_cannot_be_read_get_a_sentence() -> None:
    """Empty, cut, and no image: each is told apart, by the name that the user knows."""
    for body in (b"", png(GREY)[:100], b"hello", io.BytesIO(b"\xff\xd8\xff\xe0").getvalue()):
        with pytest.raises(InputError, match=r'own image "mine\.png" .*; expected'):
            decoded(body, "mine.png", "srgb")
