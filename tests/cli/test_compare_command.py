"""The command compare does what it says: variants, files, exit codes, refusals."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

import linesim

Call = Callable[..., tuple[int, str]]
THREE = ["compare.csv", "compare.json", "compare.png"]


def titles(out: str) -> list[str]:
    """Name the variants of a JSON answer."""
    return [one["title"] for one in json.loads(out)["variants"]]


def test_four_modes_are_compared(run: Call, tmp_path: Path) -> None:
    """Sheet, table and figures land in outputs/NAME; the console has the answer."""
    code, out = run("compare", "tiny.toml")
    folder = tmp_path / "outputs" / "tiny"
    assert code == 0
    assert sorted(path.name for path in folder.iterdir()) == THREE
    assert out.startswith("Tiny\n")
    lines = out.splitlines()
    assert lines[1].startswith("  1x1: Me")
    assert ["1x1", "2x1", "charge", "1x2", "charge", "2x2", "charge"] in map(str.split, lines)
    assert "8 times the electrons (4 times at the same" in " ".join(out.split())
    assert out.endswith("wrote compare.png, compare.csv, compare.json in outputs/tiny/\n")


def test_the_modes_and_their_domain_are_chosen(run: Call) -> None:
    """A list with commas; a domain for all, or behind a mode."""
    _, out = run("compare", "tiny.toml", "--binning", "1x1,2x2 charge, 2x2 digital", "--json")
    assert titles(out) == ["1x1", "2x2 charge", "2x2 digital"]
    _, out = run("compare", "tiny.toml", "--binning", "1x1,2x1", "--domain", "digital", "--json")
    assert titles(out) == ["1x1", "2x1 digital"]


def test_changed_keys_are_variants(run: Call) -> None:
    """Each --set is one variant beside the setup as it is."""
    _, out = run(
        "compare", "tiny.toml", "--json",
        "--set", "light.illuminance=20 klx; lens.f_number=2.8", "--set", "acquisition.binning=2x2",
    )  # fmt: skip
    assert titles(out) == ["as it is", "illuminance 20 klx, f_number 2.8", "binning 2x2"]


def test_files_are_variants(run: Call, tiny: str, tmp_path: Path) -> None:
    """Two files, side by side over the strip of the first, into the first one's folder."""
    (tmp_path / "other.toml").write_text(tiny.replace("[acq", "read_noise = '5 e'\n[acq"), "utf-8")
    code, out = run("compare", "tiny.toml", "other.toml", "--json")
    assert (code, titles(out)) == (0, ["tiny", "other"])
    assert sorted(path.name for path in (tmp_path / "outputs" / "tiny").iterdir()) == THREE


def test_exposure_and_rate_follow_the_options(run: Call) -> None:
    """Electrons over those of the first: 4 at the same time, 8 at full, 4 at the kept rate."""
    for options, ratio in (
        (("--exposure", "same"), 4),
        (("--exposure", "full"), 8),
        (("--keep-line-rate",), 4),
    ):
        _, out = run("compare", "tiny.toml", "--binning", "1x1,2x2", *options, "--json")
        first, other = (one["signal"]["electrons_white"] for one in json.loads(out)["variants"])
        assert other / first == pytest.approx(ratio, rel=1e-9)


def test_json_is_the_file(run: Call, tmp_path: Path) -> None:
    """One object on stdout, equal to compare.json, with the seed of every scan."""
    _, out = run("compare", "tiny.toml", "--json", "--seed", "7")
    told = json.loads(out)
    assert told == json.loads((tmp_path / "outputs/tiny/compare.json").read_text("utf-8"))
    assert [one["seed"] for one in told["variants"]] == [7] * 4
    assert len(told["answer"]) == 4


def test_scans_come_on_request_and_are_those_of_scan(run: Call, tmp_path: Path) -> None:
    """Each variant's folder runs again by itself, to the same samples."""
    _, out = run("compare", "tiny.toml", "--binning", "1x1,2x2", "--scans", "--out", "c")
    assert out.endswith("wrote compare.png, compare.csv, compare.json, 1x1/, 2x2_charge/ in c/\n")
    run("scan", "c/2x2_charge/setup.toml", "--out", "alone")
    for name in ("scan.tif", "metrics.json"):
        made, alone = (
            (tmp_path / where / name).read_bytes() for where in ("c/2x2_charge", "alone")
        )
        assert made == alone
    assert tifffile.imread(tmp_path / "c/2x2_charge/scan.tif").shape == (40, 24)


@pytest.mark.nightly
def test_workers_change_no_byte(run: Call, tmp_path: Path) -> None:
    """Two processes write the files that this one writes, and say the same."""
    asked = ("compare", "tiny.toml", "--binning", "1x1,2x2", "--scans", "--out")
    _, out = run(*asked, "a")
    assert run(*asked, "b", "--workers", "2")[1] == out.replace(" in a/", " in b/")
    files = sorted(path.relative_to(tmp_path / "a") for path in (tmp_path / "a").rglob("*.*"))
    assert len(files) > 3
    for name in files:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_true_proportion_touches_pictures_alone(run: Call, tmp_path: Path) -> None:
    """The figures stay."""
    asked = ("compare", "tiny.toml", "--binning", "1x1,2x1", "--out")
    run(*asked, "a")
    run(*asked, "b", "--true-proportion")
    differ = [
        name
        for name in THREE
        if (tmp_path / "a" / name).read_bytes() != (tmp_path / "b" / name).read_bytes()
    ]
    assert differ == ["compare.png"]


@pytest.mark.parametrize(("snr", "code"), [("20", 0), ("90", 0), ("100000", 1)])
def test_strict_asks_for_one_that_meets_all(
    run: Call, tiny: str, tmp_path: Path, snr: str, code: int
) -> None:
    """Exit 1 only where none does: 1x1 misses 90 where 2x2 reaches it."""
    light = 'illuminance = "8 klx"'
    text = tiny.replace("snr = 20", f"snr = {snr}").replace('illuminance = "40 klx"', light)
    (tmp_path / "s.toml").write_text(text, "utf-8")
    assert run("compare", "s.toml", "--strict")[0] == code
    assert run("compare", "s.toml")[0] == 0
    assert sorted(path.name for path in (tmp_path / "outputs" / "s").iterdir()) == THREE
    if snr == "90":
        told = json.loads((tmp_path / "outputs/s/compare.json").read_text("utf-8"))
        met = [all(verdict["met"] for verdict in one["verdicts"]) for one in told["variants"]]
        assert met[0] is False
        assert met[3] is True


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--binning", "5x1,1x1"), 'variant "5x1": acquisition.binning: read "5x1"'),
        (("--binning", "1x1"), "variants: read 1, but a comparison has 2 to 6 side by side"),
        (("--binning", "1x1,1x1"), 'variants: read "1x1" more than once'),
        (("--binning", ""), 'variant "": acquisition.binning: read ""'),
        (("--domain", "light"), 'acquisition.binning_domain: read "light"'),
        (("--exposure", "long"), 'exposure: read "long", but expected "same" or "full"'),
        (("--set", "lens.fnumber=2"), "did you mean lens.f_number?"),
        (("--set", "f_number"), "but this is no key=value"),
        (("--set", "target.image=edge"), "so that all see one strip"),
        (("--set", "lens.f_number=2", "--binning", "2x2"), "compare: read --set and --binning"),
        (("whole.toml", "--binning", "2x2"), "compare: read several setup files and --binning"),
        (("--workers", "2", "--cluster", "local:2"), "--workers: read --cluster too"),
        (("--cluster", "local:none"), '--cluster: read "local:none"'),
        (("none.toml",), 'variant "none": setup "none.toml"'),
    ],
)
def test_bad_input_is_refused(
    refused: Callable[..., str], arguments: tuple[str, ...], says: str
) -> None:
    """One sentence, exit 2, and nothing is written."""
    assert says in refused("compare", "base.toml", *arguments)


def test_the_faults_of_all_files_are_told(refused: Callable[..., str], here: Path) -> None:
    """Each with the file's name in front."""
    text = (here / "base.toml").read_text("utf-8")
    (here / "one.toml").write_text(text.replace("60 m/min", "60"), "utf-8")
    (here / "two.toml").write_text(text.replace("40 klx", "40"), "utf-8")
    told = refused("compare", "one.toml", "two.toml").splitlines()
    assert [line.partition(": ")[2].partition(": read")[0] for line in told] == [
        'variant "one": transport.speed',
        'variant "two": light.illuminance',
    ]


def test_the_sample_is_compared_without_a_setup(run: Call, tmp_path: Path) -> None:
    """Left out, the setup is the built-in sample."""
    small = ("--set", "camera.pixels=64", "--set", "camera.pixels=96")
    assert run("compare", *small)[1].startswith("Coated foil at 60 m/min")
    with Image.open(tmp_path / "outputs" / "sample" / "compare.png") as drawn:
        assert min(drawn.size) > 300


def test_python_gives_what_the_command_writes(run: Call, tmp_path: Path) -> None:
    """The function behind the command gives the samples that the command writes."""
    run("compare", "tiny.toml", "--seed", "3", "--scans", "--out", "a")
    found = linesim.compare(linesim.load_setup(tmp_path / "tiny.toml"), seed=3)
    for one, name in zip(found.variants, ("1x1", "2x1_charge", "1x2_charge"), strict=False):
        assert np.array_equal(one.scan.image, tifffile.imread(tmp_path / "a" / name / "scan.tif"))
