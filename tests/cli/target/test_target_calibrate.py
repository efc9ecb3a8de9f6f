"""The command target calibrate: from a photograph to a scan in two commands, and its refusals."""

import json
from collections.abc import Callable
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile

from linesim.setup.load import load_setup

Call = Callable[..., tuple[int, str]]
FIELDS = {0.8: 40, 0.4: 120, 0.1: 200}


def photograph(path: Path, shape: tuple[int, ...] = (60, 240), dpi: bytes = b"") -> None:
    """Write three even fields in sRGB, 8 bit; with a chunk pHYs if one is given."""
    image = np.zeros(shape)
    for level, middle in FIELDS.items():
        image[:, middle - 40 : middle + 40] = level
    bent = 1.055 * np.maximum(image, 1e-9) ** (1 / 2.4) - 0.055
    png = imagecodecs.png_encode(np.rint(255 * np.clip(bent, 0, 1)).astype(np.uint8))
    path.write_bytes(png[:33] + dpi + png[33:])


PATCHES = [
    text
    for level, middle in FIELDS.items()
    for text in ("--patch", f"{middle - 20},10,40,40 = {level}")
]
SIZE = ("--pixel-size", "75 um")
SETUP = """\
title = "Calibrated"
{target}
[transport]
speed = "60 m/min"
[lens]
magnification = 0.1
[light]
illuminance = "40 klx"
[camera]
pixels = 200
pixel_width = "7.5 um"
"""


def test_two_commands_from_a_photograph_to_a_scan(run: Call, tmp_path: Path) -> None:
    """The lines that it prints make a setup, whose scan has the levels of the photograph."""
    photograph(tmp_path / "photo.png")
    code, out = run("target", "calibrate", "photo.png", *PATCHES, *SIZE, "--out", "made")
    lines = (tmp_path / "made" / "target.toml").read_text("utf-8")
    assert (code, lines in out) == (0, True)
    assert "guard and lock out by local code" in out
    (tmp_path / "made" / "setup.toml").write_text(SETUP.format(target=lines), "utf-8")
    assert run("scan", "made/setup.toml", "--out", "scanned")[0] == 0
    setup = load_setup(tmp_path / "made" / "setup.toml")
    scan = tifffile.imread(tmp_path / "scanned" / "scan.tif").astype(np.float64)
    # 200 pixels lie in the middle of the 240 of the target
    means = [
        scan[10:50, middle - 40 : middle].mean() - setup.camera.black_level_dn
        for middle in FIELDS.values()
    ]
    # 8 bit in: a step is 1 % at 0.1; noise of 1600 samples and the streaks of PRNU stay under 1 %
    assert means[0] / means[1] == pytest.approx(2, rel=0.02)
    assert means[1] / means[2] == pytest.approx(4, rel=0.02)


def test_json_and_report(run: Call, tmp_path: Path) -> None:
    """--json equals the file; the page holds both pictures and every patch."""
    photograph(tmp_path / "photo.png")
    more = ("--json", "--report", "--out", "made")
    code, out = run("target", "calibrate", "photo.png", *PATCHES, *SIZE, *more)
    assert (code, json.loads(out)) == (
        0,
        json.loads((tmp_path / "made" / "calibration.json").read_text("utf-8")),
    )
    page = (tmp_path / "made" / "report.html").read_text("utf-8")
    assert page.count("<img src=") == 2
    assert "100,10,40,40" in page


def test_the_word_draw_may_be_left_out(run: Call) -> None:
    """``target`` and ``target draw`` are one; an image named like a command is no target."""
    assert run("target") == run("target", "draw")


DPI_72 = bytes.fromhex("000000097048597300000b1300000b1301009a9c18")
"""Chunk pHYs of 2835 pixels a metre both ways, with its check sum (ISO/IEC 15948, 11.3.4.3)."""
GOOD = ("photo.png", "--patch", "20,10,40,40 = 0.8")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("photo.png", *SIZE), "--patch: none was read"),
        (("photo.png", "--patch", "1,2,3 = 0.2", *SIZE), '--patch: read "1,2,3 "'),
        (("photo.png", "--patch", "1,2,3,4", *SIZE), "such as"),
        (("photo.png", "--patch", "1,2,3,4 = 0.1,0.2", *SIZE), "red, green and"),
        (("photo.png", "--patch", "1,2,3,4 = dark", *SIZE), "is no number from 0 to 10"),
        (("photo.png", "--patch", "1,2,3,4 = 11", *SIZE), '"11" is no number from 0 to 10'),
        (("photo.png", "--patch", "220,10,40,40 = 0.8", *SIZE), "reaches past the image's 240"),
        (("photo.png", "--patch", "1,2,3,4 = 0.1,0.2,0.3", *SIZE), "the photograph is grey"),
        ((*GOOD, "--patch", "180,10,40,40 = 0.9", *SIZE), "should be lighter than 20,10,40,40"),
        (("black.png", "--patch", "1,2,3,4 = 0.1", *SIZE), "every patch has samples at an end"),
        (("photo.png", "--patch", "20,10,40,40 = 0", *SIZE), "every reflectance is 0"),
        ((*GOOD, *SIZE, "--blank", "small.png"), "read 30 x 240 pixels"),
        ((*GOOD, *SIZE, "--blank", "black.png"), "lie at an end of the scale"),
        ((*GOOD, *SIZE, "--blank", "photo.png", "--flatten"), "--blank, --flatten: read both"),
        (("whole.png", "--patch", "0,0,60,38 = 0.5", *SIZE, "--flatten"), "--flatten: 0 parts"),
        ((*GOOD, *SIZE, "--blank", "gone.png"), '--blank "gone.png" does not exist'),
        (GOOD, "states no resolution; expected --length"),
        (("web.png", *GOOD[1:]), "states 72.009 dpi, which cameras and programs write"),
        ((*GOOD, "--pixel-size", "75"), "--pixel-size: read"),
        ((*GOOD, "--length", "1,2 30,2"), "--length: read"),
        ((*GOOD, "--length", "1,2 1,2 = 5 mm"), "twice the same point"),
        ((*GOOD, "--length", "1,2 900,2 = 5 mm"), "the point 900,2, which lies outside"),
        ((*GOOD, "--length", "1,2 30,2 = 5 Hz"), "a unit of another kind"),
        ((*GOOD, "--length", "1,2 30,2 = 0 mm"), "a length of 0 mm"),
        ((*GOOD, "--length", "1,2 101,2 = 5 mm", *SIZE), "75 um and, by the length, 50 um"),
        ((*GOOD, "--size", "5 mm x 5 mm"), "--corners: missing beside --size"),
        ((*GOOD, "--corners", "1,1 9,1 9,9 1,9"), "--size: missing beside --corners"),
        ((*GOOD, "--corners", "1,1 9,1 9,9", "--size", "5 mm x 5 mm"), "expected four points"),
        ((*GOOD, "--corners", "1,1 9,9 9,1 1,9", "--size", "5 mm x 5 mm"), "no corner after the"),
        ((*GOOD, "--corners", "1,1 9,1 9,9 1,9", "--size", "5 mm"), "expected width x height"),
        ((*GOOD, "--corners", "1,1 300,1 9,9 1,9", "--size", "5 mm x 5 mm"), "point 300,1"),
        ((*GOOD, "--corners", "1,1 9,1 9,9 1,9", "--size", "5 mm x 5 mm", "--pixel-size", "9mm"),
         "they make 1 x 1 pixels"),
        ((*GOOD, "--corners", "1,1 9,1 9,9 1,9", "--size", "5 mm x 5 mm", "--crop", "1,1,9,9"),
         "--corners, --crop: read both"),
        ((*GOOD, *SIZE, "--crop", "1,1,300,9"), "--crop: read 1,1,300,9"),
        ((*GOOD, *SIZE, "--encoding", "gamma"), "--encoding"),
        (("colour.png", "--patch", "1,1,9,9 = 0.1,0.2,0.3", *SIZE, "--grey"),
         "--grey: read with a patch of three"),
        (("text.png", *GOOD[1:], *SIZE), 'image "text.png" is a text file'),
    ],
)  # fmt: skip
def test_refusals_say_what_was_read(
    refused: Callable[..., str], here: Path, arguments: tuple[str, ...], told: str
) -> None:
    """Each refusal names the option and what is expected, and leaves nothing behind."""
    photograph(here / "photo.png")
    photograph(here / "web.png", dpi=DPI_72)
    photograph(here / "small.png", (30, 240))
    photograph(here / "colour.png", (60, 240, 3))
    (here / "black.png").write_bytes(imagecodecs.png_encode(np.zeros((60, 240), np.uint8)))
    assert told in refused("target", "calibrate", *arguments)
