"""A detector's score: as COCO counts it, beside what the search's closed form allows."""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pycocotools.coco import COCO
from pycocotools.cocoeval import COCOeval
from scipy.stats import norm

from linesim.cli import main
from linesim.dataset.draw import taken
from linesim.dataset.plan.plan import Plan
from linesim.dataset.score.bound import bounds, width_um
from linesim.dataset.score.groups import Group
from linesim.dataset.score.matching import Truth, matched, overlaps, precisions
from linesim.dataset.score.outputs import figures, write_score
from linesim.dataset.score.predictions import Prediction
from linesim.dataset.score.study import Rule, score
from linesim.setup.errors import InputError

pytestmark = pytest.mark.filterwarnings("ignore:__array__ implementation:DeprecationWarning")
"""pycocotools 2.0.11 with numpy 2."""
SPLITS = ("train", "val", "test")


def annotations(folder: Path, split: str) -> dict[str, Any]:
    """Read the labels of a split."""
    told = json.loads((folder / "annotations" / f"{split}.json").read_text("utf-8"))
    return dict(told)


def guesses(folder: Path, split: str) -> list[dict[str, Any]]:
    """Make up a detector: shaken boxes of all faults, some twice, and some out of nowhere."""
    random, told = np.random.default_rng(3), annotations(folder, split)
    found = []
    for each in told["annotations"]:
        for _ in range(int(random.integers(1, 3))):
            shaken = np.array(each["bbox"]) + random.normal(0, 0.06, 4) * max(each["bbox"][2:])
            box = [*shaken[:2].tolist(), *np.maximum(shaken[2:], 1.0).tolist()]
            found.append((each["image_id"], each["category_id"], box))
    ids = [each["id"] for each in told["categories"]]
    for image in told["images"]:
        for _ in range(3):
            place = random.uniform(0, 40, 2).tolist()
            found.append((image["id"], int(random.choice(ids)), [*place, 6.0, 6.0]))
    keys = ("image_id", "category_id", "bbox")
    return [
        {**dict(zip(keys, each, strict=True)), "score": float(random.random())} for each in found
    ]


@pytest.fixture(scope="module")
def predicted(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write predictions of the train images."""
    path = tmp_path_factory.mktemp("predicted") / "boxes.json"
    path.write_text(json.dumps(guesses(made, "train")), "utf-8")
    return path


@pytest.fixture(scope="module")
def coco(made: Path, predicted: Path) -> COCOeval:
    """Have pycocotools judge them."""
    truth = COCO(str(made / "annotations" / "train.json"))
    judged = COCOeval(truth, truth.loadRes(str(predicted)), "bbox")
    judged.evaluate()
    judged.accumulate()
    judged.summarize()
    return judged


def test_average_precision_is_that_of_pycocotools(
    made: Path, predicted: Path, coco: COCOeval
) -> None:
    """Over all limits and at 0.5, for each kind too: equal but for its eps of 2e-16 in each."""
    found = score(predicted, made, Rule())
    assert found.splits == ("train",)
    assert 0.05 < found.mean_precision < 0.9
    assert found.mean_precision == pytest.approx(coco.stats[0], abs=1e-12)
    assert found.precision_at_limit == pytest.approx(coco.stats[1], abs=1e-12)
    told = coco.eval["precision"][:, :, :, 0, 2]  # limit, recall, category; all areas, 100 boxes
    names = {each["id"]: each["name"] for each in annotations(made, "train")["categories"]}
    own = {each.name: each.mean_precision for each in found.groups["kind"]}
    for k, category in enumerate(coco.params.catIds):
        if names[category] in own:
            assert own[names[category]] == pytest.approx(told[:, :, k].mean(), abs=1e-12)


def test_found_and_false_are_those_of_pycocotools(
    made: Path, predicted: Path, coco: COCOeval
) -> None:
    """All boxes counted: matches and boxes without one at the limit 0.5."""
    found = score(predicted, made, Rule(least_score=0.0))
    judged = [each for each in coco.evalImgs if each is not None and each["aRng"] == [0, 1e10]]
    hits = sum(int((each["dtMatches"][0] > 0).sum()) for each in judged)
    boxes = sum(each["dtMatches"].shape[1] for each in judged)
    assert sum(each.found for each in found.faults) == hits > 5
    assert found.false_alarms == boxes - hits
    assert len(found.faults) == len(annotations(made, "train")["annotations"])


def test_shares_of_boxes_by_hand() -> None:
    """Half over half: 2 of 6; the same; apart; nothing."""
    one = [(0.0, 0.0, 2.0, 2.0)]
    two = [(1.0, 0.0, 2.0, 2.0), (0.0, 0.0, 2.0, 2.0), (5.0, 5.0, 1.0, 1.0), (0.0, 0.0, 0.0, 0.0)]
    assert overlaps(one, two).tolist() == [[2 / 6, 1.0, 0.0, 0.0]]


def test_a_fault_is_found_once() -> None:
    """The surer of two boxes has it, the other one is a false alarm: precision 1, 1/2; AP 1."""
    truths = [Truth(image_id=1, category_id=2, bbox=(0, 0, 4, 4))]
    given = [
        Prediction(image_id=1, category_id=2, bbox=(0, 0, 4, 4), score=0.3),
        Prediction(image_id=1, category_id=2, bbox=(0, 0, 4, 3), score=0.9),
        Prediction(image_id=1, category_id=3, bbox=(0, 0, 4, 4), score=1.0),
    ]
    found = matched(truths, given, 0.5)
    assert found.found == (0, -1, -1)
    assert precisions(truths, found) == {2: 1.0}


def test_the_bound_is_that_of_one_look_at_each_place(plan: Plan) -> None:
    """
    P(d') lies beside the textbook's Φ(d' - t) of one look, t the threshold of the search.

    At d' = t one of two is found, and a little more, for the noise helps to find a peak nearby: at
    most by that peak's own gain, 1/(2t) of a standard deviation each way (Adler, from memory). The
    disc swings by its place on the grid too, so 0.15 is left; far off both are 0 and 1.
    """
    shot = taken(plan, 0)
    low, middle, high = bounds(shot, 400.0, (1.0, 5.5, 12.0), 100.0)
    assert low < 1e-3 < middle < 1 - 1e-4 < high
    rates = [bounds(shot, 400.0, (5.0,), alarms)[0] for alarms in (1.0, 100.0, 1e4)]
    assert rates == sorted(rates)
    # false alarms a sample by normal noise: t of about 4.6 at 100 a m², samples of 75 um
    looks = 100.0 * (75e-6) ** 2
    assert middle == pytest.approx(norm.cdf(5.5 - norm.isf(looks)), abs=0.15)


def test_a_width_is_that_of_a_disc() -> None:
    """Pi r² back again."""
    assert width_um(np.pi * 150**2) == pytest.approx(300)


def test_wilsons_interval() -> None:
    """Of 10 of 10 found: n / (n + z²) = 10/13.84 to 1 (Wilson's formula by hand)."""
    ends = Group(name="", count=10, found=10).interval
    assert ends == pytest.approx((10 / (10 + 1.959963984540054**2), 1.0))


def test_every_table_counts_every_label(made: Path, predicted: Path, tmp_path: Path) -> None:
    """By kind, d', size and contrast; by station once for each key. Both files are written."""
    found = score(predicted, made, Rule())
    told = figures(found)
    for name, rows in found.groups.items():
        times = 3 if name == "station" else 1  # keys that the plan varies
        assert sum(each.count for each in rows) == times * len(found.faults)
        assert sum(each.found for each in rows) == times * sum(each.found for each in found.faults)
    assert told["false_alarms_per_m2"] == found.false_alarms / found.area_m2
    written = write_score(found, tmp_path / "out")
    assert json.loads(written[0].read_text("utf-8"))["recall"] == found.recall
    page = written[1].read_text("utf-8")
    assert "matched filter" in page
    assert "Missed" in page


@pytest.mark.parametrize(
    ("entries", "told"),
    [
        ({"a": 1}, "is no such list; expected a JSON list"),
        ([], "read no prediction"),
        ([7], "entry 0: read 7, but expected an object"),
        ([{"image_id": 99}], "entry 0: image_id: read 99, but expected the number of an image"),
        ([{"image_id": 1, "category_id": 77}], "category_id: read 77, but expected one of 1 (pinh"),
        (
            [{"image_id": 1, "category_id": 1, "bbox": [1, 2, 3], "score": 1}],
            "bbox: read [1, 2, 3], but expected four numbers",
        ),
        ([{"image_id": 1, "category_id": 1, "bbox": [1, 2, 3, 4]}], "score: "),
    ],
)
def test_refusals(made: Path, tmp_path: Path, entries: object, told: str) -> None:
    """Each in a sentence with the entry and the key."""
    (tmp_path / "boxes.json").write_text(json.dumps(entries), "utf-8")
    with pytest.raises(InputError) as refusal:
        score(tmp_path / "boxes.json", made, Rule())
    assert told in str(refusal.value)


@pytest.mark.usefixtures("undrawn")
def test_the_command_prints_and_writes(
    made: Path,
    predicted: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One JSON object with --json, tables without."""
    options = ["--score", str(predicted), str(made), "--out", str(tmp_path / "out"), "--iou", "0.3"]
    for more in ([], ["--json"]):
        monkeypatch.setattr(sys, "argv", ["linesim", "dataset", *options, *more])
        with pytest.raises(SystemExit) as end:
            main()
        assert not end.value.code
        out = capsys.readouterr().out
        if more:
            assert json.loads(out)["iou"] == 0.3
        else:
            assert "By kind" in out
            assert "guard and lock out by local code" in out
            assert max(map(len, out.splitlines()[:-1])) <= 110
