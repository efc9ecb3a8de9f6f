"""Plans: what is read, what is drawn from it, and how a faulty one is refused."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from linesim.dataset.draw import taken
from linesim.dataset.item import item
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import load_plan, plan_from
from linesim.files.images_out import write_png
from linesim.setup.errors import InputError


def refusal(texts: dict[str, Any]) -> tuple[str, ...]:
    """Give the sentences that refuse a plan."""
    with pytest.raises(InputError) as told:
        plan_from(texts)
    return told.value.faults


def test_the_built_in_plan_runs() -> None:
    """Without a file there is a plan of 24 images of all foil faults; count and seed go over it."""
    plan = load_plan()
    assert (plan.count, plan.seed, plan.scenes.kind) == (24, 0, "foil")
    assert len(plan.faults.wanted) == 10
    assert load_plan(None, count=3, seed=9).count == 3
    assert load_plan(None, count=3, seed=9).seed == 9


def test_all_faults_are_told_at_once() -> None:
    """One sentence each, with key, what was read and what is expected."""
    told = refusal(
        {
            "cuont": 3,
            "count": 0,
            "images": {"format": "jpeg", "good_share": 2.0},
            "scenes": {"kind": "edge"},
            "splits": {"train": 0.5, "val": 0.2},
            "vary": {"light": {"illuminance": "3:40 klx"}, "target.width": "3 mm"},
            "faults": {
                "like": "steel",
                "count": -1,
                "spott": {},
                "pinhole": {"diameter": "60:400", "colour": 3},
            },
            "labels": {"threshold": 0, "box_files": "yes"},
        }
    )
    starts = [each.split(":")[0] for each in told]
    assert starts == [
        "cuont",
        "count",
        "images.format",
        "images.good_share",
        "labels.threshold",
        "labels.box_files",
        "scenes.kind",
        "splits",
        "vary.target.width",
        "faults.like",
        "faults.count",
        "faults.spott",
        "faults.pinhole.diameter",
        "faults.pinhole.colour",
    ]
    assert all("expected" in each or "did you mean" in each or "known" in each for each in told)


def test_a_key_of_another_name_is_told_by_its_new_one() -> None:
    """Files of boxes go by what they hold."""
    (told,) = refusal({"labels": {"yolo": True}})
    assert told == (
        "labels.yolo: read true, but there is no such key; expected labels.box_files, for a text "
        "file of boxes beside each image"
    )


def test_a_range_is_refused_as_it_was_written() -> None:
    """Nothing of how ranges are read inside shows."""
    (told,) = refusal({"vary": {"light": {"illuminance": "3:40 klx"}}})
    assert told.startswith('vary.light.illuminance: read "3"')
    (told,) = refusal({"vary": {"light": {"illuminanc": "3 klx:4 klx"}}})
    assert '"3 klx:4 klx"' in told
    assert "did you mean light.illuminance?" in told


@pytest.mark.parametrize(
    ("fault", "part"),
    [
        ({"pinhole": {"diameter": "0 um:100 um"}}, "a size above 0 um"),
        ({"streak": {"change": "-0.1:0.2:log"}}, "two"),
        ({"colour shift": {}}, "faults.colour shift.width: nothing was read"),
        ({"pinhole": {"change": [0.1, 0.2]}}, "three"),
        ({"kinds": []}, "list"),
    ],
)
def test_faults_that_cannot_be_drawn_are_refused(fault: dict[str, Any], part: str) -> None:
    """When it is read, not at the thousandth image."""
    told = refusal({"faults": fault})
    assert all(each.startswith("faults.") for each in told)
    assert any(part in each for each in told)


def test_values_are_drawn_as_written() -> None:
    """
    Ranges stay between their ends, lists give each value, equal ratios have their own mean.

    Log-uniform from a to b: mean of ln x is (ln a + ln b)/2, sd (ln b - ln a)/sqrt(12); 200 draws,
    4.5 standard errors.
    """
    plan = plan_from(
        {
            "vary": {
                "light": {"illuminance": "10 klx:40 klx:log"},
                "acquisition": {"binning": ["1x1", "2x2"]},
                "lens": {"f_number": 5.6},
                "camera": {"pattern_seed": "1:3", "bit_depth": [10, 12]},
            }
        }
    )
    setups = [taken(plan, index).setup for index in range(200)]
    lux = np.log([each.light.illuminance_lx or 0.0 for each in setups])
    assert lux.min() >= np.log(10_000) - 1e-12
    assert lux.max() <= np.log(40_000) + 1e-12
    spread = np.log(4) / np.sqrt(12)
    assert abs(lux.mean() - np.log(20_000)) < 4.5 * spread / np.sqrt(200)
    assert {each.lens.f_number for each in setups} == {5.6}
    assert {each.camera.pattern_seed for each in setups} == {1, 2, 3}
    assert {each.camera.bit_depth for each in setups} == {10, 12}
    # both binnings at one chance each: 4.5 sd of a binomial count
    assert abs(sum(each.acquisition.binning.along == 2 for each in setups) - 100) < 31


def test_a_drawn_pair_replaces_the_bases_other_way_to_say_it() -> None:
    """A field of view drawn takes the base's magnification out."""
    plan = plan_from({"vary": {"lens": {"field_of_view": "70 mm:80 mm"}}})
    setup = taken(plan, 0).setup
    assert setup.lens.magnification is None
    assert 70 <= (setup.lens.field_of_view_mm or 0) <= 80


def test_a_combination_that_cannot_be_is_told_with_its_draw() -> None:
    """The sentence names image and values."""
    plan = plan_from({"vary": {"camera": {"dead_time": ["1 ms"]}}})
    with pytest.raises(InputError, match=r"^image 3, drawn with camera.dead_time = 1 ms: "):
        taken(plan, 3)


def test_fingerprints_tell_plans_apart(plan: Plan, plan_file: Path) -> None:
    """All that changes an image changes it; the number of images does not."""
    own = fingerprint(plan)
    assert fingerprint(load_plan(plan_file)) == own
    assert fingerprint(load_plan(plan_file, count=500)) == own
    text = plan_file.read_text("utf-8")
    for old, new in (
        ("seed = 5", "seed = 6"),
        ("48 klx", "49 klx"),
        ("0.2 mm", "0.3 mm"),
        ('"hole"', '"stain"'),
        ("good_share = 0.25", "good_share = 0.5"),
        ("box_files = true", "box_files = false"),
        ("train = 0.5\nval = 0.25", "train = 0.25\nval = 0.5"),
    ):
        assert old in text
        other = plan_file.with_name("other.toml")
        other.write_text(text.replace(old, new), "utf-8")
        assert fingerprint(load_plan(other)) != own, new
    station = plan_file.with_name("station.toml")
    before = station.read_text("utf-8")
    try:
        station.write_text(before.replace("60 m/min", "61 m/min"), "utf-8")
        assert fingerprint(load_plan(plan_file)) != own
    finally:
        station.write_text(before, "utf-8")


def test_files_as_scenes(tmp_path: Path) -> None:
    """Each file is a scene; one that is missing, or stands there twice, is refused."""
    for name in ("a.png", "b.png"):
        write_png(tmp_path / name, np.full((800, 900), 99, dtype=np.uint8))
    plan = plan_from({"scenes": {"files": ["a.png", "b.png"], "images_each": 2}}, tmp_path)
    assert plan.title == "Own product: a.png and 1 more"
    assert [plan.scenes.name(plan.scenes.of_image(k)) for k in range(6)] == [
        *("a.png", "a.png", "b.png", "b.png", "a.png", "a.png")
    ]
    with pytest.raises(InputError, match="does not exist"):
        plan_from({"scenes": {"files": ["a.png", "c.png"]}}, tmp_path)
    with pytest.raises(InputError, match="twice"):
        plan_from({"scenes": {"files": ["a.png", "./a.png"]}}, tmp_path)
    with pytest.raises(InputError, match="their own size"):
        plan_from({"scenes": {"files": ["a.png"], "kind": "foil"}}, tmp_path)
    with pytest.raises(InputError, match="expected a larger scene"):
        item(plan, 0)
