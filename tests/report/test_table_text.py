"""The console's tables show every figure of the JSON, for all kinds of camera, in 100 columns."""

import os
import re
from dataclasses import replace
from typing import Any

import pytest

from linesim.report.table import budget_text
from linesim.setup.load import changed, setup_from
from linesim.studies.scan.outputs import scan_text
from linesim.studies.scan.study import Scan, scan

FLAT: dict[str, Any] = {
    "title": "table",
    "target": {"image": "flat", "pixel_size": "25 um", "repeat": True},
    "transport": {"speed": "60 m/min", "skew": "0.5 deg"},
    "lens": {"magnification": 0.1, "focal_length": "60 mm"},
    "light": {"illuminance": "50 klx", "flicker": 0.1},
    "camera": {"pixels": 64, "pixel_width": "7.5 um", "max_line_rate": "20 kHz",
     "dark_current": "2 ke/s", "prnu": 0.01, "dsnu": "3 e"},
    "acquisition": {"lines": 64},
    "requirement": {"smallest_defect": "100 um", "snr": 300},
}  # fmt: skip
EVERY = 1 if "LINESIM_NIGHTLY" in os.environ else 3
KINDS: dict[str, dict[str, Any]] = {
    "mono": {},
    "three-line": {"kind": "three-line", "line_spacing": "33 um"},
    "prism": {"kind": "prism", "light_share": {"red": 0.9, "green": 0.8, "blue": 0.7}},
    "stages": {"tdi_stages": 16},
}


def scanned(kind: str, target: str = "flat") -> Scan:
    """Scan a small piece with one kind of camera."""
    table = {**FLAT, "target": {**FLAT["target"], "image": target}}
    return scan(setup_from({**table, "camera": {**FLAT["camera"], **KINDS[kind]}}))


def leaves(value: object, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Name all figures in nested groups."""
    if not isinstance(value, dict):
        return [path]
    return [leaf for key, each in value.items() for leaf in leaves(each, (*path, key))]


def with_other(
    groups: dict[str, Any], path: tuple[str, ...], number: float = 7654
) -> dict[str, Any]:
    """Put another value in place of one figure."""
    head, *rest = path
    # a share of defects is told within bounds, so the other one lies within them
    number = 0.4321 if head.startswith("detection_rate") else number
    inner = groups[head]
    other: object = "another" if isinstance(inner, str) else number
    return {**groups, head: with_other(inner, tuple(rest), number) if rest else other}


@pytest.mark.parametrize("kind", KINDS)
def test_every_figure_of_the_budget_is_shown(kind: str) -> None:
    """Change any one figure and the text changes: none is left out, of each third by day."""
    shown = scanned(kind)
    setup, found = shown.setup, shown.budget
    groups = {name: dict(group) for name, group in found.groups.items()}
    before = budget_text(setup, found)
    unseen = [
        path
        for path in leaves(groups)[::EVERY]
        if budget_text(setup, replace(found, groups=with_other(groups, path))) == before
    ]
    assert len(leaves(groups)) > 40
    assert unseen == []


@pytest.mark.parametrize("target", ["flat", "edge"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_measured_figure_is_shown(kind: str, target: str) -> None:
    """The same for what was read off the image."""
    found = scanned(kind, target)
    before = scan_text(found)
    unseen = [
        path
        for path in leaves(found.measured)[::EVERY]
        if scan_text(replace(found, measured=with_other(found.measured, path))) == before
    ]
    assert unseen == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_line_is_longer_than_the_console(kind: str) -> None:
    """Figures, cautions and verdicts keep to 100 columns, also under a long title."""
    found = scanned(kind)
    titled = changed(found.setup, {"title": "a long title " * 12})
    text = scan_text(found) + "\n" + budget_text(titled, found.budget)
    assert [line for line in text.splitlines() if len(line) > 100] == []


def test_a_colour_has_a_row_of_its_own() -> None:
    """The white of each colour stands beside its name, to three digits."""
    found = scanned("three-line")
    lines = scan_text(found).splitlines()
    first = next(index for index, line in enumerate(lines) if line.startswith("  white"))
    white_e: Any = found.budget["signal"]["electrons_white"]
    for line, (colour, value) in zip(lines[first : first + 3], white_e.items(), strict=True):
        shown = re.search(rf"{colour} +([\d.]+) e,", line)
        assert shown is not None
        # three significant digits: half a unit of the third, at most 5e-3 of the value
        assert float(shown[1]) == pytest.approx(value, rel=5e-3)


def test_one_figure_of_three_colours_stands_in_one_row() -> None:
    """Rows 33 um apart at 0.1 and 75 um a line are 4.4 lines; whole lines leave red 0.4 behind."""
    text = scan_text(scanned("three-line"))
    assert "colour offset from green    red 0.4, green 0, blue -0.4 lines" in text


def test_the_weakest_colour_is_judged() -> None:
    """A verdict on the SNR says of which colours it speaks, and a mono camera has only one."""
    prism, mono = scan_text(scanned("prism")), scan_text(scanned("mono"))
    assert re.search(
        r"SNR on the product, weakest colour, at the ends of the line: [\d.]+, 300", prism
    )
    assert re.search(r"SNR on the product, at the ends of the line: [\d.]+, 300 wanted", mono)
