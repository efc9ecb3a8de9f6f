"""What a ranking tells and writes: tables, words, files."""

import csv
import json
import tomllib
from dataclasses import replace
from pathlib import Path
from shutil import copy

import imageio.v3 as iio
import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.figures.safety import MACHINERY
from linesim.setup.load import changed, load_setup
from linesim.studies.rank.outputs import rank_json, write_ranking
from linesim.studies.rank.space import Space, space_from
from linesim.studies.rank.study import Ranking, rank
from linesim.studies.rank.table import rank_text
from linesim.studies.rank.words import answer

SPACE = {
    "title": "Which lens?",
    "options": {"lens.f_number": [2.8, 4, 5.6, 8], "light.illuminance": "10 klx:120 klx:log7",
     "transport.speed": ["30 m/min", "60 m/min"], "acquisition.binning_mode": ["sum", "average"]},
    "requirement": {"smallest_defect": "200 um", "snr": 60},
    "limits": {"most_irradiance": "300 W/m^2"},
}  # fmt: skip


@pytest.fixture(scope="module")
def space() -> Space:
    """Give 112 options around the built-in sample; half of them are no setup."""
    options = {**SPACE["options"], "acquisition.binning": ["2x1"]}  # type: ignore[dict-item]
    return space_from({**SPACE, "options": options})


@pytest.fixture(scope="module")
def found(space: Space) -> Ranking:
    """Rank them."""
    return rank(space)


@pytest.fixture(scope="module")
def none(space: Space) -> Ranking:
    """Ask for more than any of them gives."""
    return rank(replace(space, base=changed(space.base, {"requirement.snr": 5000})))


def test_the_answer_names_the_best(found: Ranking) -> None:
    """Yes, how many, and the best with what it reaches against what is wanted."""
    said = " ".join(answer(found))
    assert said.startswith(f"Yes: {len(found.order)} of 112 options")
    best = found.rows[0]
    assert f"f/{best.choice['lens.f_number']}" in said
    assert f"SNR on the product {best.worst('snr_product'):.3g} (60 wanted)" in said
    assert "(200 um wanted)" in said


def test_the_answer_where_nothing_passes(none: Ranking) -> None:
    """No, and the nearest: the largest SNR, told with what it lacks."""
    said = " ".join(answer(none))
    assert said.startswith("No: of 112 options none meets every demand.")
    assert none.nearest is not None
    lack = 1 - none.nearest.worst("snr_product") / 5000
    assert f"misses by {100 * lack:.2g} % (SNR on the product too low)" in said


def test_a_view_that_differs_is_told() -> None:
    """Where magnifications differ, narrow views pass for fast ones unless a limit stands."""
    texts = {"options": {"lens.magnification": [0.1, 0.15]}, "requirement": {"snr": 10}}
    assert any("least_field_of_view" in said for said in answer(rank(space_from(texts))))
    texts["limits"] = {"least_field_of_view": "60 mm"}
    assert not any("least_field_of_view" in said for said in answer(rank(space_from(texts))))


def test_the_text(found: Ranking, none: Ranking) -> None:
    """At most 100 characters a line, every group there, the cautions and the one on machines."""
    for text in (rank_text(found), rank_text(none)):
        assert max(map(len, text.splitlines())) <= 100
        for head in (
            "112 options (4 x 7 x 2 x 2 x 1)",
            "why the others are out",
            "cautions",
            "answer",
        ):
            assert head in text
        assert MACHINERY.split(":")[0] in text
    assert "56 options: acquisition.binning_mode" in rank_text(found)
    assert "the nearest" in rank_text(none)


def test_many_axes_take_lines_of_their_own(found: Ranking) -> None:
    """Choices that do not fit beside the figures stand below them."""
    axes = tuple(
        replace(axis, points=tuple(replace(p, label=p.label + 30 * ".") for p in axis.points))
        for axis in found.space.axes
    )
    wide = replace(found.space, axes=axes)
    text = rank_text(rank(wide))
    assert max(map(len, text.splitlines())) <= 100
    assert "      f_number 2.8......" in text


@pytest.fixture(scope="module")
def written(found: Ranking, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write it once."""
    folder = tmp_path_factory.mktemp("rank")
    names = [path.name for path in write_ranking(found, folder)]
    assert names == ["rank.csv", "rank.json", "rank.png", "best.toml"]
    return folder


def test_files(found: Ranking, written: Path) -> None:
    """Table, figures, picture and setup; the table's first row and the setup are the best."""
    with (written / "rank.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == len(found.order)
    assert sum(int(row["on_front"]) for row in rows) == len(found.front)
    best = load_setup(written / "best.toml")
    assert best == found.rows[0].setup
    assert float(rows[0]["snr_white"]) == pytest.approx(budget(best).number("signal", "snr_white"))
    data = json.loads((written / "rank.json").read_text("utf-8"))
    assert data == json.loads(json.dumps(rank_json(found)))
    assert data["passing"] + sum(each["options"] for each in data["missed_first"].values()) == 112
    picture = iio.imread(written / "rank.png")
    assert picture.ndim == 3
    assert np.ptp(picture) > 100


def test_the_same_bytes_again(found: Ranking, written: Path, tmp_path: Path) -> None:
    """Nothing in a file depends on when or where it was written."""
    write_ranking(found, tmp_path)
    for path in written.iterdir():
        assert path.read_bytes() == (tmp_path / path.name).read_bytes()


@pytest.mark.usefixtures("undrawn")
def test_no_setup_where_nothing_passes(written: Path, none: Ranking, tmp_path: Path) -> None:
    """A best.toml of a run before does not stay behind."""
    copy(written / "best.toml", tmp_path)
    assert "best.toml" not in [path.name for path in write_ranking(none, tmp_path)]
    assert not (tmp_path / "best.toml").exists()
    assert "nearest" in json.loads((tmp_path / "rank.json").read_text("utf-8"))


def test_without_matplotlib_there_is_no_picture(
    found: Ranking, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The extra is one: without it all else is written."""
    monkeypatch.setattr("linesim.studies.rank.outputs.find_spec", lambda _: None)
    names = [path.name for path in write_ranking(found, tmp_path)]
    assert names == ["rank.csv", "rank.json", "best.toml"]


def test_the_best_is_valid_toml(written: Path) -> None:
    """It carries the requirement that the space asked for."""
    texts = tomllib.loads((written / "best.toml").read_text("utf-8"))
    assert texts["requirement"]["snr"] == 60


def test_what_differs_in_the_amount_of_light_alone_is_shown_once(found: Ranking) -> None:
    """Each answer has another lens, speed or mode, and no light under its own would do."""
    kinds = [
        tuple(value for name, value in row.choice.items() if name != "light.illuminance")
        for row in found.distinct
    ]
    assert len(set(kinds)) == len(kinds) > 0
    light = found.figures["irradiance_target_w_m2"]
    axis = [each.name for each in found.space.axes].index("light.illuminance")
    places = np.array(np.unravel_index(found.order, found.space.shape))
    for row in found.distinct:
        own = np.array(np.unravel_index(row.index, found.space.shape))
        alike = (np.delete(places, axis, 0) == np.delete(own, axis)[:, None]).all(axis=0)
        assert light[row.index] == light[found.order[alike]].min()
    assert found.distinct[0] == found.rows[0]
