"""Jobs that no station does: the demand in the way is named, and given up so far, one does."""

import re
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

import pytest

from linesim.figures.safety import MACHINERY
from linesim.report.page import page_text
from linesim.studies.design.job import job_from
from linesim.studies.design.outputs import cautions, design_json
from linesim.studies.design.page import design_page
from linesim.studies.design.study import Design, design
from linesim.studies.design.table import design_text
from linesim.studies.design.words import answer, first_limits

CAMERA = {
    "pixels": 8192,
    "pixel_width": "5 um",
    "max_line_rate": "60 kHz",
    "full_well": "20 ke",
    "read_noise": "12 e",
    "link": "850 MB/s",
}
LENS = {"focal_length": "60 mm"}
OURS = {"cameras": {"ours": CAMERA}}
BOTH = {**OURS, "lenses": {"60 mm": LENS}}
JOB = {
    "field_of_view": "0.8 m",
    "speed": "90 m/min",
    "smallest_defect": "0.4 mm",
    "product_reflectance": 0.4,
}


@dataclass(frozen=True, kw_only=True)
class Case:
    """A job out of reach, and which demands say so."""

    job: Mapping[str, Any]
    demands: tuple[str, ...]
    limits: Mapping[str, Any]
    have: Mapping[str, Any]


def case(
    *demands: str,
    limits: Mapping[str, Any] | None = None,
    have: Mapping[str, Any] | None = None,
    **job: object,
) -> Case:
    """Ask something else than is usual."""
    return Case(job={**JOB, **job}, demands=demands, limits=limits or {}, have=have or {})


CASES = {
    # 10 m/s over 0.133 mm are 75 kHz, and the camera does 60
    "too fast": case("line_rate", speed="600 m/min", have=OURS),
    "far too fast": case("line_rate", speed="1800 m/min", have=OURS),
    "too fast at one end": case("line_rate", speed="10 m/min:900 m/min", have=BOTH),
    "too much data": case("most_data_rate", limits={"most_data_rate": "20 MB/s"}, have=OURS),
    "too little room": case("most_working_distance",
     limits={"most_working_distance": "300 mm", "most_cameras": 2}, have=BOTH),
    "too short a sensor": case("most_sensor_length", limits={"most_sensor_length": "20 mm"},
     have=OURS),
    "too fine": case("smallest_defect", smallest_defect="40 um", speed="10 m/min", have=OURS),
    "too fine and too fast": case("smallest_defect", "line_rate", smallest_defect="20 um",
     have=OURS),
    "too fine for one": case("most_cameras", smallest_defect="0.1 mm", limits={"most_cameras": 1},
     have=OURS),
    "too pale": case("smallest_defect", defect_contrast=0.02, have=OURS),
    "too wide for one": case("most_cameras", field_of_view="3 m", limits={"most_cameras": 1},
     have=OURS),
    "too little light": case("most_illuminance", limits={"most_illuminance": "0.5 klx"}, have=BOTH),
    "too deep": case("least_depth_of_field", limits={"least_depth_of_field": "300 mm"}, have=BOTH),
    "too clean": case("snr", snr=200, have=BOTH),
    "too bright": case("clipping", defect_contrast=0.03, white_reflectance=0.8, have=BOTH),
    "too rough": case("smallest_defect", texture={"rms": 0.1, "correlation": "0.2 mm"}, have=BOTH),
}  # fmt: skip
NIGHT = (
    *("too fast", "too much data", "too short a sensor", "too fine for one", "too pale"),
    *("too deep", "too rough", "far too fast"),
)
TRADE = {
    "too fast, all cameras": case("line_rate", speed="2400 m/min", smallest_defect="0.1 mm"),
    "too little light, all cameras": case(
        "most_illuminance", limits={"most_illuminance": "0.5 klx", "most_cameras": 1}
    ),
    "too fine, all cameras": case("smallest_defect", "line_rate", smallest_defect="10 um"),
}


def found_for(one: Case, changes: Mapping[str, Mapping[str, Any]] | None = None) -> Design:
    """Run a case, with what is typed anew."""
    texts: dict[str, Any] = {
        "title": "out of reach",
        "job": dict(one.job),
        "limits": dict(one.limits),
        "have": deepcopy(dict(one.have)),
    }
    for section, keys in (changes or {}).items():
        texts[section].update(keys)
    return design(job_from(texts))


def typed(sentence: str) -> dict[str, dict[str, Any]]:
    """Do what a sentence says, as a user who has nothing but it."""
    changes: dict[str, dict[str, Any]] = {"job": {}, "limits": {}}
    for name, value, unit in re.findall(
        r"elax ([a-z ]+) from \S+ to (\S+?)( [a-zA-Z/]+)?[.:;]", sentence
    ):
        key = name.replace(" ", "_")
        section = "limits" if key.startswith(("most_", "least_")) else "job"
        changes[section][key] = f"{value}{unit}" if unit else float(value)
    for speed in re.findall(r"un at (\S+ m/min)", sentence):
        changes["job"]["speed"] = speed
    for share in re.findall(r"more than (\S+) clip", sentence):
        changes["job"]["white_reflectance"] = float(share)
    return changes


def check(one: Case) -> None:
    """See that nothing does it, that the right demands are named, and that giving in helps."""
    found = found_for(one)
    assert found.best is None
    assert found.passing == 0
    rows = found.together or found.relaxed[:1]
    assert tuple(row.demand.requirement for row in rows) == one.demands
    says_no, *sentences = answer(found)
    assert says_no.startswith("No: ")
    assert sentences
    for sentence in sentences:
        changes = typed(sentence)
        assert any(changes.values()), sentence
        eased = found_for(one, changes)
        assert eased.best is not None, sentence
        assert eased.best.met


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=pytest.mark.nightly) if name in NIGHT else name for name in CASES],
)
def test_what_stands_in_the_way_is_named(name: str) -> None:
    """With what is owned: each sentence names a demand and a figure, and that figure is enough."""
    check(CASES[name])


@pytest.mark.nightly
@pytest.mark.parametrize("name", TRADE)
def test_what_stands_in_the_way_of_the_trade(name: str) -> None:
    """The same with all that the trade builds."""
    check(TRADE[name])


def test_figures_are_not_given_up_for_nothing() -> None:
    """A camera less than is said, or a step more of depth, and still nothing does the job."""
    wide, deep = CASES["too wide for one"], CASES["too deep"]
    for one, name, step in ((wide, "most_cameras", -1), (deep, "least_depth_of_field", 3)):
        changes = typed(answer(found_for(one))[1])
        told = changes["limits"][name]
        changes["limits"][name] = (
            told + step if isinstance(told, float) else f"{float(told.split()[0]) + step} mm"
        )
        assert found_for(one, changes).best is None


def test_far_out_of_reach() -> None:
    """Where a demand would have to be given up tenfold, no figure is offered but another job."""
    found = found_for(case(smallest_defect="0.4 mm", defect_contrast=0.001, have=BOTH))
    assert found.best is None
    assert (found.relaxed, found.together) == ((), ())
    assert "far out of reach" in answer(found)[1]


def test_an_owned_lamp_and_lens_give_no_more_than_they_do() -> None:
    """No station has more light than the lamp, nor a wider stop than the lens."""
    lens, lamp = {**LENS, "f_number": 5.6}, {"illuminance": "25 klx"}
    have = {**OURS, "lenses": {"old": lens}, "lamps": {"left over": lamp}}
    found = found_for(case(have=have, snr=25))
    assert found.best is not None
    for each in (found.best, *found.others):
        assert each.light_lx <= 25e3 * (1 + 1e-9)
        assert each.setup.lens.f_number >= 5.6
    lamp["illuminance"] = "1 klx"
    assert found_for(case(have=have, snr=25)).best is None


def test_the_nearest_of_all_demands_is_told() -> None:
    """A limit of the job that has less to spare than any requirement is the closest."""
    room = {"least_depth_of_field": "1 mm", "most_working_distance": "10 m"}
    loose = design(job_from({"title": "Foil", "job": JOB, "limits": room, "have": OURS}))
    assert loose.best is not None
    said = answer(loose)[1]
    assert said.startswith(f"Meets all {len(loose.best.verdicts)}; the closest is ")
    assert "working distance" not in said
    needed_mm = loose.best.setup.working_distance_mm
    assert needed_mm is not None
    tight = {**room, "most_working_distance": f"{1.01 * needed_mm:.6g} mm"}
    found = design(job_from({"title": "Foil", "job": JOB, "limits": tight, "have": OURS}))
    assert found.best is not None
    assert found.best.setup.working_distance_mm == needed_mm
    assert answer(found)[1].endswith("the closest is working distance, 1 % to spare.")
    assert first_limits(found.best)[0] == "working distance: 1 % to spare"


def test_console_json_and_page_have_the_same_cautions() -> None:
    """Those on the picture of the best station, those about people, and machines."""
    found = design(job_from({"title": "Foil", "job": JOB, "have": OURS}))
    assert found.best is not None
    told = cautions(found)
    codes = [each.code for each in found.best.budget.cautions]
    assert codes
    assert told[-1] == MACHINERY
    page, console = page_text(design_page(found)), " ".join(design_text(found).split())
    for each in found.best.budget.cautions:
        assert each.code in page
        assert any(line.startswith(f"{each.code}") for line in told)
    assert [line for line in told if " ".join(line.split()) not in console] == []
    assert design_json(found)["cautions"] == told
