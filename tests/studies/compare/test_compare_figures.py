"""What is told of a comparison: the table, the answer in words, the files."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.load import changed
from linesim.studies.compare.outputs import compare_json, compare_rows, write_comparison
from linesim.studies.compare.sheet import compare_sheet
from linesim.studies.compare.study import Comparison, compare
from linesim.studies.compare.table import compare_text
from linesim.studies.compare.words import answer
from tests.stations import plain_setup

BASE = plain_setup(
    "Dim foil",
    target={"image": "foil", "width": "8 mm", "height": "6 mm"},
    light={"illuminance": "4 klx"},
    camera={"pixels": 96, "read_noise": "20 e"},
    requirement={"smallest_defect": "420 um", "snr": 20},
)


@pytest.fixture(scope="module")
def four() -> Comparison:
    """Compare the four common modes."""
    return compare(BASE)


@pytest.fixture(scope="module")
def two() -> Comparison:
    """Compare 1x1 and 2x2 at the same exposure."""
    return compare(BASE, ("1x1", "2x2"), exposure="same")


# table and answer


def column(text: str, label: str) -> list[str]:
    """Give the cells of a row of the table."""
    line = next(line for line in text.splitlines() if line.startswith(f"  {label}  "))
    return line.removeprefix(f"  {label}").split()


def test_the_best_of_a_row_is_marked(four: Comparison) -> None:
    """High or low as fits; ties share the mark; a row with no direction has none."""
    text = compare_text(four)
    assert column(text, "object pixel across, um") == ["75*", "150", "75*", "150"]
    assert [cell.endswith("*") for cell in column(text, "SNR on white")[:4]] == [False] * 3 + [True]
    assert not any("*" in cell for cell in column(text, "line rate, Hz"))
    assert all(len(line) <= 100 for line in text.splitlines())


def test_the_table_has_the_figures_of_the_budget(four: Comparison) -> None:
    """To the three digits that are printed: half a unit of the third is 5e-3 at most."""
    text = compare_text(four)
    for label, group, name in (
        ("white, e", "signal", "electrons_white"),
        ("exposure, us", "exposure", "exposure_us"),
        ("MTF50 along, lp/mm", "resolution", "mtf50_y_lp_mm"),
        ("contrast to noise ratio", "detection", "defect_cnr"),
    ):
        expected = [float(one.scan.budget[group][name]) for one in four.variants]
        told = [float(cell.rstrip("*")) for cell in column(text, label)]
        assert told == pytest.approx(expected, rel=5e-3)


def test_all_figures_of_detection_are_there(four: Comparison) -> None:
    """Known ones by a label, unknown ones by their own name, so that a new figure shows up."""
    first, *others = four.variants
    known = first.scan.budget
    groups = {**known.groups, "detection": {**known["detection"], "new_figure": 1.5}}
    new = replace(first, scan=replace(first.scan, budget=replace(known, groups=groups)))
    text = compare_text(replace(four, variants=(new, *others)))
    assert column(text, "new_figure") == ["1.5", "-", "-", "-"]


def test_long_titles_become_letters() -> None:
    """A title that would not stand over a column is told above the table."""
    text = compare_text(compare(BASE, ["light.illuminance=20 klx; lens.f_number=2.8"]))
    lines = text.splitlines()
    place = lines.index("  A  as it is")
    assert lines[place + 1] == "  B  illuminance 20 klx, f_number 2.8"
    assert lines[place + 3].split() == ["A", "B"]


def test_cautions_are_told_once_with_their_variants(four: Comparison) -> None:
    """A sentence that holds for several names them; the one about machines is always there."""
    text = compare_text(four)
    assert "defect_px (2x1 charge, 1x2 charge, 2x2 charge): " in text
    assert text.count("defect_px") == 1
    assert "guard and lock out by local code" in " ".join(text.split())


def test_the_answer_gives_the_trade(two: Comparison) -> None:
    """
    Four times the electrons; SNR √(n²S²/(nS + σ²)) by EMVA 1288 R4.0 RC, (21), on the product.

    S is the foil's share of 844.2 e on white, σ = 20 e and rounding of (40000/4063)²/12 e².
    """
    said, conclusion = answer(two)
    signal_e = float(two.variants[0].scan.budget["signal"]["electrons_product"])
    read_e2 = 20**2 + (40_000 / 4063) ** 2 / 12
    ratio = 4 * np.sqrt((signal_e + read_e2) / (4 * signal_e + read_e2))
    assert said.startswith(
        f"At the same exposure, 2x2 charge has 4 times the electrons and {ratio:.1f} times the "
        "SNR on the product of 1x1; its object pixel is 150 x 150 um, not 75 x 75 um; "
    )
    assert "at 6.667 kHz, not 13.33 kHz" in said
    assert conclusion.startswith("None meets every requirement; nearest is 2x2 charge, which")


def test_a_longer_exposure_is_told_apart() -> None:
    """Eight times, four of them at the same exposure."""
    said, _ = answer(compare(BASE, ("1x1", "2x2")))
    assert said.startswith(
        "Exposed 150 us, not 75 us, 2x2 charge has 8 times the electrons (4 times at the same "
        "exposure) and "
    )


@pytest.mark.parametrize(
    ("changes", "ending"),
    [
        ({"requirement.snr": 1000}, "None meets every requirement; nearest is 2x2 charge, which"),
        ({"requirement.snr": 1, "requirement.smallest_defect": "2 mm"},
         "All variants meet every requirement; of them 2x2 charge has the highest SNR on the"),
        ({"requirement.snr": 20, "requirement.smallest_defect": "2 mm"},
         "Only 2x2 charge meets every requirement."),
        ({"camera.max_line_rate": "10 kHz", "requirement.snr": 1},
         "Only 2x2 charge meets every requirement; 1x1 cannot run."),
        ({"camera.max_line_rate": "5 kHz"}, "None of them can run as it stands."),
        ({"requirement.snr": None, "requirement.smallest_defect": None},
         "Nothing is required. All variants run without clipping; of them 2x2 charge has the"),
    ],
)  # fmt: skip
def test_the_conclusion_follows_the_requirements(changes: dict[str, object], ending: str) -> None:
    """None, all, one, those that run, or nothing asked for."""
    *_, conclusion = answer(compare(changed(BASE, changes), ("1x1", "2x2")))
    assert conclusion.startswith(ending)


def test_the_answer_tells_overlap_clipping_and_the_dark() -> None:
    """What spoils the gain is said in the same sentence."""
    kept, _ = answer(compare(BASE, ("1x1", "2x2"), keep_line_rate=True))
    assert "at the same line rate, where its lines overlap: each strip is seen 2 times" in kept
    bright = changed(BASE, {"light.illuminance": "100 klx"})
    clipped, conclusion = answer(compare(bright, ("1x1", "2x2")))
    # the brightest part, 0.64 of 844.2 e x 25 x 8, of a node of 40000 e
    assert clipped.endswith("; but its picture clips.")
    assert conclusion == "Only 1x1 meets every requirement."
    dark, _ = answer(compare(changed(BASE, {"light.illuminance": "0 lx"}), ("1x1", "2x2")))
    assert dark.startswith("2x2 charge and 1x1 cannot be set against each other without light")


# files


def test_the_files_hold_the_figures_of_the_budget(two: Comparison, tmp_path: Path) -> None:
    """JSON nests each variant as its own metrics; the table has a row a figure."""
    paths = write_comparison(two, tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in paths)
    told = json.loads((tmp_path / "compare.json").read_text("utf-8"))
    assert told == compare_json(two)
    for one, found in zip(told["variants"], two.variants, strict=True):
        own = budget(found.scan.setup).as_dict()
        assert {name: one[name] for name in own} == json.loads(json.dumps(own))
    with (tmp_path / "compare.csv").open(encoding="utf-8", newline="") as stream:
        head, *rows = csv.reader(stream)
    assert head == ["group", "figure", "1x1", "2x2 charge"]
    by_key = {(group, name): cells for group, name, *cells in rows}
    assert len(by_key) == len(rows)
    for place, found in enumerate(two.variants):
        for group, figures in found.scan.budget.groups.items():
            for name, value in figures.items():
                assert by_key[group, name][place] == str(value)
        assert by_key["measured", "dn_max"][place] == str(int(found.scan.image.max()))
        for each in found.verdicts:
            assert by_key["verdicts", f"{each.requirement}.met"][place] == str(each.met)
            assert by_key["verdicts", f"{each.requirement}.state"][place] == each.state


def test_a_figure_that_one_lacks_is_an_empty_cell() -> None:
    """A working distance is there with a focal length alone."""
    found = compare(BASE, ["lens.focal_length=50 mm"])
    rows = {(group, name): cells for group, name, *cells in compare_rows(found)}
    assert rows["geometry", "working_distance_mm"] == [None, pytest.approx(550.0)]


def test_colours_take_a_row_each() -> None:
    """Of a colour camera each signal figure has three rows, and the table the weakest."""
    found = compare(changed(BASE, {"camera.kind": "prism"}), ("1x1", "2x2"))
    names = [name for _, name, *_ in compare_rows(found) if str(name).startswith("snr_white.")]
    assert names == ["snr_white.red", "snr_white.green", "snr_white.blue"]
    signal = found.variants[0].scan.budget["signal"]
    weakest = min(signal["snr_white"].values())
    assert float(column(compare_text(found), "SNR on white")[0]) == pytest.approx(weakest, rel=5e-4)
    assert "of several colours the weakest" in compare_text(found)
    assert compare_sheet(found).ndim == 3


def test_the_same_comparison_gives_the_same_bytes(two: Comparison, tmp_path: Path) -> None:
    """All files, the scans too."""
    again = compare(BASE, ("1x1", "2x2"), exposure="same")
    for found, name in ((two, "a"), (again, "b")):
        write_comparison(found, tmp_path / name, scans=True)
    a, b = (_all_bytes(tmp_path / name) for name in "ab")
    assert a == b
    assert {"compare.png", "1x1/scan.tif", "2x2_charge/setup.toml"} <= set(a)


def test_titles_make_folders_that_any_system_takes(tmp_path: Path) -> None:
    """No sign that a file system refuses, and no two folders of one name."""
    found = compare(
        BASE, ["transport.speed=30 m/min", "transport.speed=30 m:min "[:0] or "lens.blur=2 um"]
    )
    write_comparison(found, tmp_path, scans=True)
    folders = sorted(path.name for path in tmp_path.iterdir() if path.is_dir())
    assert folders == ["as_it_is", "blur_2_um", "speed_30_m_min"]


def _all_bytes(folder: Path) -> dict[str, bytes]:
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}
