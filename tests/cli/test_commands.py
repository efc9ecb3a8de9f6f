"""The commands scan, budget and new do what they say: files, figures, exit codes."""

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np
import pytest
import tifffile

import linesim
from linesim.setup.infiles import starter_text

FOUR = ["metrics.json", "preview.png", "scan.tif", "setup.toml"]
# the shared names of `budget --json` and metrics.json, those that always apply
KEYS = {
    "geometry": {
        "object_pixel_x_um", "object_pixel_y_um", "line_advance_um", "pixel_aspect", "coverage",
        "image_width_px", "image_lines", "field_of_view_mm", "scan_length_mm", "line_rate_hz",
        "matched_line_rate_hz", "square_line_rate_hz", "data_rate_mb_s", "depth_of_field_mm",
    },
    "exposure": {"exposure_us", "line_period_us", "duty", "motion_blur_um", "motion_blur_px"},
    "signal": {
        "irradiance_target_w_m2", "irradiance_sensor_w_m2", "electrons_white", "dark_e",
        "noise_white_e", "snr_white", "snr_white_db", "snr_total_white", "dn_white",
        "saturation_white", "saturation_limit", "electrons_product", "snr_product", "dn_product",
        "electrons_white_ends", "snr_white_ends", "electrons_product_ends", "snr_product_ends",
    },
    "limits": {"exposure_share", "clipping_share"},
    "camera": {
        "dark_noise_e", "threshold_e", "saturation_e", "snr_max", "snr_max_db", "dynamic_range",
        "dynamic_range_db",
    },
    "resolution": {
        "nyquist_x_lp_mm", "nyquist_y_lp_mm", "mtf_nyquist_x", "mtf_nyquist_y",
        "mtf_motion_nyquist_y", "mtf50_x_lp_mm", "mtf50_y_lp_mm",
    },
    "detection": {
        "defect_cnr", "alarm_threshold", "smallest_detectable_um", "rose_diameter_um",
        "rose_false_alarms_per_m2", "defect_cnr_ends", "smallest_detectable_um_ends",
    },
}  # fmt: skip
OF_THE_DEFECT = {
    "defect_px_x", "defect_px_y", "defect_dprime", "detection_rate", "false_alarms_per_m2",
    "defect_dprime_ends", "detection_rate_ends", "false_alarms_per_m2_ends",
}  # fmt: skip
Call = Callable[..., tuple[int, str]]


def _bytes(folder: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in folder.iterdir()}


def test_scan_writes_four_files(run: Call, tmp_path: Path) -> None:
    """Samples, picture, figures and the resolved setup land in outputs/NAME, and nothing else."""
    code, out = run("scan", "tiny.toml")
    folder = tmp_path / "outputs" / "tiny"
    assert code == 0
    assert sorted(_bytes(folder)) == FOUR
    assert sorted(each.name for each in tmp_path.iterdir()) == ["outputs", "tiny.toml"]
    for name in FOUR:
        assert name in out
    assert out.rstrip().endswith("in outputs/tiny/")
    samples = tifffile.imread(folder / "scan.tif")
    assert (samples.shape, samples.dtype.name) == ((80, 48), "uint16")
    assert iio.imread(folder / "preview.png").dtype == np.uint8


def test_scan_of_eight_bit_is_eight_bit(run: Call, tiny: str, tmp_path: Path) -> None:
    """The file holds the samples as delivered."""
    (tmp_path / "eight.toml").write_text(tiny.replace("[acq", "bit_depth = 8\n[acq"), "utf-8")
    assert run("scan", "eight.toml", "--out", "eight")[0] == 0
    assert tifffile.imread(tmp_path / "eight" / "scan.tif").dtype == np.uint8


def test_scan_again_gives_the_same_bytes(run: Call, tmp_path: Path) -> None:
    """A second run, into the same folder or another, gives the same bytes for all four files."""
    run("scan", "tiny.toml")
    first = _bytes(tmp_path / "outputs" / "tiny")
    run("scan", "tiny.toml")
    run("scan", "tiny.toml", "--out", "other")
    assert _bytes(tmp_path / "outputs" / "tiny") == first
    assert _bytes(tmp_path / "other") == first


def test_scan_of_the_resolved_setup_gives_the_same_bytes(
    run: Call, tiny: str, tmp_path: Path
) -> None:
    """The setup that a run leaves behind makes that run again, from where it lies."""
    run("target", "edge", "--width", "2 mm", "--height", "2 mm", "--out", "piece.png")
    text = tiny.replace('"flat"', '"piece.png"').replace("lines = 80", "lines = 20")
    (tmp_path / "piece.toml").write_text(text, "utf-8")
    run("scan", "piece.toml")
    first = _bytes(tmp_path / "outputs" / "piece")
    assert tomllib.loads(first["setup.toml"].decode())["target"]["image"] == "../../piece.png"
    run("scan", "outputs/piece/setup.toml", "--out", "outputs/again")
    assert _bytes(tmp_path / "outputs" / "again") == first


def test_outputs_name_no_path_of_this_machine(run: Call, tmp_path: Path) -> None:
    """No absolute path stands in any output file."""
    run("scan", "tiny.toml")
    for name, data in _bytes(tmp_path / "outputs" / "tiny").items():
        assert str(tmp_path).encode() not in data, name


def test_seed_changes_the_noise_alone(run: Call, tmp_path: Path) -> None:
    """Another seed gives another image of the same mean; setup.toml stays as it is."""
    run("scan", "tiny.toml", "--out", "a")
    run("scan", "tiny.toml", "--seed", "1", "--out", "b")
    a, b = (tifffile.imread(tmp_path / name / "scan.tif").astype(float) for name in "ab")
    assert np.mean(a != b) > 0.5
    # the difference of two independent means of n samples: 5 sigma
    limit = 5 * np.sqrt((a.var() + b.var()) / a.size)
    assert abs(a.mean() - b.mean()) < limit
    assert (tmp_path / "a" / "setup.toml").read_bytes() == (
        tmp_path / "b" / "setup.toml"
    ).read_bytes()


def test_scan_json_is_metrics_json(run: Call, tmp_path: Path) -> None:
    """With --json stdout holds one JSON object, equal to metrics.json, and nothing else."""
    code, out = run("scan", "tiny.toml", "--json", "--seed", "7")
    told = json.loads(out)
    assert code == 0
    assert told == json.loads((tmp_path / "outputs" / "tiny" / "metrics.json").read_text("utf-8"))
    assert told["seed"] == 7
    assert {"dn_mean", "snr_white"} <= set(told["measured"])
    assert set(told) == {*KEYS, "measured", "seed", "cautions", "verdicts"}


def test_true_proportion_touches_the_picture_alone(run: Call, tiny: str, tmp_path: Path) -> None:
    """With lines half as far apart as pixels, the picture is taller; the samples are the same."""
    text = tiny.replace("lines = 80", 'lines = 80\nline_rate = "26.666 kHz"')
    (tmp_path / "half.toml").write_text(text, "utf-8")
    run("scan", "half.toml", "--out", "a")
    run("scan", "half.toml", "--out", "b", "--true-proportion")
    a, b = _bytes(tmp_path / "a"), _bytes(tmp_path / "b")
    assert [name for name in FOUR if a[name] != b[name]] == ["preview.png"]


# budget


def test_budget_json_has_the_agreed_keys(run: Call) -> None:
    """Groups and names are those of the shared table; a figure that does not apply is absent."""
    code, out = run("budget", "tiny.toml", "--json")
    told = json.loads(out)
    assert code == 0
    want = {**KEYS, "detection": KEYS["detection"] | OF_THE_DEFECT}
    assert {name: set(group) for name, group in told.items() if isinstance(group, dict)} == want
    assert set(told) == {*KEYS, "cautions", "verdicts"}
    assert all(set(caution) == {"code", "text"} for caution in told["cautions"])
    wanted = ["requirement", "wanted", "got", "margin", "met", "state", "where"]
    assert [list(verdict) for verdict in told["verdicts"]] == [wanted] * 4
    names = [verdict["requirement"] for verdict in told["verdicts"]]
    assert names == ["exposure", "clipping", "smallest_defect", "snr"]


@pytest.mark.parametrize(
    ("old", "new", "differ"),
    [
        ("[light]", 'focal_length = "50 mm"\n[light]', {"working_distance_mm"}),
        ("[acq", 'max_line_rate = "20 kHz"\n[acq', {"max_speed_mm_s", "line_rate_share"}),
        ('smallest_defect = "300 um"', "", OF_THE_DEFECT),
        (
            "[requirement]",
            '[requirement]\ndefect_shape = "scratch-along"',
            {"smallest_width_um", "smallest_width_um_ends"},
        ),
    ],
)
def test_budget_figures_come_with_their_keys(
    run: Call, tiny: str, tmp_path: Path, old: str, new: str, differ: set[str]
) -> None:
    """Working distance, top speed and defect size are there where the setup lets them be told."""
    (tmp_path / "more.toml").write_text(tiny.replace(old, new), "utf-8")
    names = [
        {
            key
            for group in json.loads(run("budget", file, "--json")[1]).values()
            for key in group
            if isinstance(group, dict)
        }
        for file in ("tiny.toml", "more.toml")
    ]
    assert names[0] ^ names[1] == differ


def test_budget_leaves_nothing_behind(run: Call, tmp_path: Path) -> None:
    """No file is made, and the text names the job."""
    code, out = run("budget", "tiny.toml")
    assert (code, out.splitlines()[0]) == (0, "Tiny")
    assert [each.name for each in tmp_path.iterdir()] == ["tiny.toml"]


def test_commands_without_a_setup_take_the_sample(run: Call) -> None:
    """Left out, the setup is the built-in sample."""
    assert run("budget")[1].splitlines()[0] == "Coated foil at 60 m/min"


@pytest.mark.parametrize("command", ["scan", "budget"])
@pytest.mark.parametrize(
    "ending",
    [
        ("snr = 20", "--strict", 0),
        ("snr = 1000", "--strict", 1),
        ("snr = 1000", "--json", 0),
        ("[camera]\nmax_line_rate = '5 kHz'", "--strict", 1),
        ("[camera]\nfull_well = '5 ke'", "--strict", 1),
    ],
)
def test_strict_tells_what_is_missed_and_what_cannot_run(
    run: Call, tiny: str, tmp_path: Path, command: str, ending: tuple[str, str, int]
) -> None:
    """Exit 1 where a verdict is not met, and only with --strict; files are written anyway."""
    line, option, code = ending
    old = "[camera]" if line.startswith("[") else "snr = 20"
    (tmp_path / "s.toml").write_text(tiny.replace(old, line), "utf-8")
    assert run(command, "s.toml", option)[0] == code
    if command == "scan":
        assert sorted(_bytes(tmp_path / "outputs" / "s")) == FOUR


# new


def test_new_writes_a_setup_that_scans(run: Call, tmp_path: Path) -> None:
    """The starter file runs as it stands."""
    code, out = run("new", "mine.toml")
    assert (code, "linesim scan mine.toml" in out) == (0, True)
    assert (tmp_path / "mine.toml").read_text("utf-8") == starter_text()
    assert run("scan", "mine.toml", "--out", "mine")[0] == 0
    assert sorted(_bytes(tmp_path / "mine")) == FOUR


def test_new_gives_a_bare_name_an_ending(run: Call, tmp_path: Path) -> None:
    """So that every command finds what it names; a job gets one too."""
    assert "linesim scan mine.toml" in run("new", "mine")[1]
    assert (tmp_path / "mine.toml").read_text("utf-8") == starter_text()
    assert not (tmp_path / "mine").exists()
    assert run("design", "--new", "job")[0] == 0
    assert (tmp_path / "job.toml").is_file()


def test_new_replaces_only_by_force(run: Call, tmp_path: Path) -> None:
    """With --force a file that is there is replaced; without, test_refusals_commands has it."""
    assert run("new", "tiny.toml", "--force")[0] == 0
    assert (tmp_path / "tiny.toml").read_text("utf-8") == starter_text()


def test_python_names_match_the_command(run: Call, tmp_path: Path) -> None:
    """The function behind the command gives the samples that the command writes."""
    run("scan", "tiny.toml", "--seed", "3", "--out", "a")
    found: Any = linesim.scan(linesim.load_setup(tmp_path / "tiny.toml"), seed=3)
    assert np.array_equal(found.image, tifffile.imread(tmp_path / "a" / "scan.tif"))
