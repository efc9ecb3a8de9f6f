"""The wide ranges, and what lies on good product."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from linesim.dataset.background.words import limit_words
from linesim.dataset.draw import drawn
from linesim.dataset.item import item
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.plan.plan_file import plan_from
from linesim.dataset.record import record
from linesim.setup.errors import InputError

STATION = """\
title = "Told otherwise"
[target]
image = "flat"
pixel_size = "20 um"
[transport]
speed = "60 m/min"
[lens]
field_of_view = "40 mm"
blur = ["1 um", "2 um", "6 um"]
[light]
irradiance = "60 W/m^2"
[camera]
pixels = 512
pixel_width = "7 um"
dynamic_range = "66 dB"
"""
SMALL = {
    "images": {"good_share": 0.5, "lines": 128},
    "scenes": {"kind": "flat", "width": "84 mm", "height": "24 mm"},
}


def plan(**parts: Any) -> Plan:  # noqa: ANN401 -- a plan's tables
    """Plan small images of an even white."""
    return plan_from({**SMALL, **parts})


def test_wide_draws_what_a_station_may_be_like() -> None:
    """The ends of the guide's table, from the sample's station: 40 klx, 20 e, 2 um, 0.1."""
    spans = {span.name: span for span in plan(vary={"preset": "wide"}).spans}
    ends = {
        name: (float(span.between.base_values[0]), float(span.between.base_values[-1]))
        for name, span in spans.items()
        if span.between is not None
    }
    assert ends["light.illuminance"] == pytest.approx((28e3, 52e3))
    assert ends["camera.read_noise"] == pytest.approx((16, 30))
    assert ends["lens.blur"] == pytest.approx((2.0, 2.0 + 7.5 / 2))
    assert ends["lens.magnification"] == pytest.approx((0.1, 0.104))
    assert ends["lens.defocus"] == pytest.approx((0, 3.3))  # c N (1 + m)/m² = 7.5e-3 · 4.4 / 0.01
    assert ends["transport.line_jitter"] == pytest.approx((0, 7.5))
    assert ends["camera.pattern_seed"] == pytest.approx((0, 9998))
    assert {"light.flicker", "light.edge_falloff", "transport.speed_ripple"} < set(ends)


def test_every_station_of_wide_can_be_drawn(tmp_path: Path) -> None:
    """Also one that is told otherwise: field of view, dynamic range, a lens over its field."""
    (tmp_path / "station.toml").write_text(STATION, "utf-8")
    texts = {**SMALL, "setup": "station.toml", "vary": {"preset": "wide"}}
    made = plan_from(texts, tmp_path)
    names = {span.name for span in made.spans}
    assert {"lens.field_of_view", "light.irradiance"} < names
    assert not {"lens.blur", "lens.magnification"} & names
    for index in range(20):
        assert set(drawn(made, index).changes) == names


def test_a_key_of_the_plan_goes_over_wide() -> None:
    """By its own name, or another for the same."""
    own = plan(vary={"preset": "wide", "light": {"irradiance": "300 W/m^2:400 W/m^2"}})
    names = [span.name for span in own.spans]
    assert "light.irradiance" in names
    assert "light.illuminance" not in names
    fixed = plan(vary={"preset": "wide", "lens.blur": "9 um"})
    assert all(drawn(fixed, k).setup.lens.blur_um == 9.0 for k in range(3))


def test_an_unknown_preset_is_refused() -> None:
    """With what is expected."""
    with pytest.raises(InputError, match=r'vary\.preset: read "narrow", but expected "wide"'):
        plan(vary={"preset": "narrow"})


def test_nuisances_lie_on_good_product_and_have_no_label() -> None:
    """They darken the image, stand in the record, and leave masks and labels alone."""
    # a bright fault on white is seen where dust lies under it alone: all have a label here
    every = {"least_signal": 0.0}
    lying = {"dust": {"count": 30, "change": -0.9}, "fibre": 3, "joint": 1}
    dirty, clean = plan(nuisances=lying, labels=every), plan(labels=every)
    seen = 0
    for index in range(4):
        one, two = item(clean, index), item(dirty, index)
        assert one.drawn.faults == two.drawn.faults
        assert_array_equal(one.mask, two.mask)
        assert (two.image.mean(dtype=float)) < one.image.mean(dtype=float)
        told = record(dirty, two)
        kinds = [each["kind"] for each in told["nuisances"]]
        assert kinds.count("dust") == 30
        assert kinds.count("joint") == 1
        assert "nuisances" not in record(clean, one)
        seen += not two.instances
    assert seen == 2


def test_a_joint_runs_across_all_of_the_web() -> None:
    """Some lines are darker by its change, in every column."""
    strip = {"count": 1, "change": -0.5, "width": "2 mm", "turn": "90 deg"}
    one, two = (item(plan(nuisances=each), 1) for each in ({}, {"joint": strip}))
    assert not one.instances
    black = one.drawn.setup.camera.black_level_dn
    share = (two.image.astype(float) - black) / (one.image.astype(float) - black)
    dark = np.median(share, axis=1) < 0.6
    assert 10 < dark.sum() < 30  # 2 mm are 27 lines, or fewer at the image's edge
    assert share[dark].mean(axis=0).max() < 0.6


def test_nuisances_are_off_but_for_wide() -> None:
    """A plan without them draws none; wide brings some; an empty table takes them away again."""
    assert not plan().nuisances.wanted
    assert {each.recipe.kind for each in plan(vary={"preset": "wide"}).nuisances.wanted} == {
        "dust",
        "fibre",
        "joint",
        "wrinkle",
    }
    assert not plan(vary={"preset": "wide"}, nuisances={}).nuisances.wanted
    assert fingerprint(plan()) == fingerprint(plan(nuisances={}))
    assert fingerprint(plan()) != fingerprint(plan(nuisances={"dust": 1}))


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("dust", "nuisances: read"),
        ({"snow": 1}, "nuisances.snow: read 1, but expected one of dust, fibre, joint, wrinkle"),
        ({"like": "steel"}, "nuisances.like"),
        ({"dust": -1}, "nuisances.dust.count"),
        ({"dust": {"count": 1, "length": "1 mm"}}, "nuisances.dust.length"),
    ],
)
def test_faulty_nuisances_are_refused(table: object, said: str) -> None:
    """One sentence each."""
    with pytest.raises(InputError, match=said):
        plan(nuisances=table)


def test_a_nuisance_under_a_fault_is_part_of_the_product() -> None:
    """A fault's contrast counts from what lies there without it: the same on a joint of half."""
    spot = {"kinds": ["spot"], "spot": {"count": 1, "change": -0.4, "width": "2 mm"}}
    spot["spot"] |= {"height": "2 mm"}  # type: ignore[operator]
    rest = {"images": {"good_share": 0.0, "lines": 128}, "faults": spot}
    strip = {"joint": {"count": 1, "change": -0.5, "width": "500 mm"}}
    one, two = (item(plan(**rest, nuisances=each), 0) for each in ({}, strip))
    first, second = one.instances[0].strength, two.instances[0].strength
    assert first is not None
    assert second is not None
    assert two.image.mean(dtype=float) < 0.7 * one.image.mean(dtype=float)
    assert second.contrast == pytest.approx(first.contrast, rel=1e-3)
    assert second.dprime < 0.95 * first.dprime  # half the light; streaks of the sensor stay alike
    assert np.array_equal(one.mask, two.mask)


def test_no_camera_is_in_two_splits() -> None:
    """Where the pattern of the sensor is drawn; one that the plan fixes is left alone."""
    made = plan(vary={"preset": "wide"}, splits={"train": 0.4, "val": 0.3, "test": 0.3})
    seeds: dict[str, set[int]] = {"train": set(), "val": set(), "test": set()}
    for index in range(0, 240, 4):
        seeds[made.split(index)].add(drawn(made, index).changes["camera.pattern_seed"])
    assert all(len(each) > 10 for each in seeds.values())
    assert not seeds["train"] & seeds["val"] | seeds["train"] & seeds["test"]
    assert not seeds["val"] & seeds["test"]
    fixed = plan(vary={"preset": "wide", "camera.pattern_seed": 5})
    assert drawn(fixed, 0).setup.camera.pattern_seed == 5


def test_the_card_tells_what_lies_on_good_product() -> None:
    """And that faults of the plan's own are those few."""
    outline = {"outline_mm": [[0, 0], [1, 0], [0, 1]], "change": 0.1}
    told = " ".join(limit_words(plan(nuisances={"dust": 2}, faults={"chip": outline})))
    assert "no label (dust)" in told
    assert "(chip) are pictures or outlines" in told
    assert "dust" not in " ".join(limit_words(plan()))
