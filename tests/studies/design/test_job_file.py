"""What a job file may say, and the sentence for each thing that it may not."""

import json
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from linesim.cli.app import app
from linesim.setup.errors import InputError
from linesim.setup.load import sample_setup
from linesim.setup.resolve import resolved_text
from linesim.studies.design.job import job_from, load_job, starter_job

JOB: dict[str, Any] = {"field_of_view": "0.8 m", "speed": "90 m/min", "smallest_defect": "0.4 mm"}
CAMERA = {"pixels": 8192, "pixel_width": "5 um", "max_line_rate": "60 kHz"}
SMALL = """\
title = "Small"
[job]
field_of_view = "0.8 m"
speed = "90 m/min"
smallest_defect = "0.4 mm"
[have.cameras."ours"]
pixels = 8192
pixel_width = "5 um"
[have.lenses."60 mm"]
focal_length = "60 mm"
"""


def refusal(texts: dict[str, Any]) -> str:
    """Give the one sentence with which a job is refused."""
    with pytest.raises(InputError) as refused:
        job_from({"title": "a job", "job": JOB, **texts})
    (sentence,) = refused.value.faults
    return sentence


# name: what is typed, then what the sentence must hold: key, what was read, what is expected
REFUSED: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
    "unknown table": ({"jobs": {}}, ("jobs: read", "but a job has title, job, limits")),
    "unknown key": ({"job": {**JOB, "sped": "1 m/s"}},
     ("job.sped: read", "1 m/s", "known here are field_of_view, speed")),
    "no field": ({"job": {"speed": "1 m/s"}},
     ("job.field_of_view: nothing was read", "needed, for example")),
    "no speed": ({"job": {"field_of_view": "1 m"}},
     ("job.speed: nothing was read", "needed, for example")),
    "no unit": ({"job": {**JOB, "field_of_view": 1.2}},
     ("job.field_of_view: read 1.2", "expected")),
    "half a range": ({"job": {**JOB, "speed": "20 m/min:fast"}},
     ("job.speed: read", "fast", "expected")),
    "a range of three": ({"job": {**JOB, "speed": "20 m/min:30 m/min:40 m/min"}},
     ("job.speed: read", "30 m/min:40 m/min", "expected")),
    "a word for colour": ({"job": {**JOB, "colour": "yes"}},
     ("job.colour: read", "yes", "expected true or false")),
    "too few pixels": ({"job": {**JOB, "pixels_on_defect": 0}},
     ("job.pixels_on_defect: read 0", "expected a number of object pixels")),
    "a requirement out of range": ({"job": {**JOB, "defect_contrast": 3}},
     ("job.defect_contrast: read 3", "expected")),
    "whiter than white": ({"job": {**JOB, "white_reflectance": 30}},
     ("job.white_reflectance: read 30", "expected")),
    "unknown limit": ({"limits": {"most_workin_distance": "1 m"}},
     ("limits.most_workin_distance: read", "1 m", "did you mean limits.most_working_distance?")),
    "a limit without a side": ({"limits": {"working_distance": "1 m"}},
     ("limits.working_distance: read", "most_ or least_")),
    "a limit in the wrong unit": ({"limits": {"most_working_distance": "1 kHz"}},
     ("limits.most_working_distance: read", "1 kHz", "expected a length")),
    "a limit on detection": ({"limits": {"most_smallest_detectable": "1 mm"}},
     ("limits.most_smallest_detectable: read", "no such key")),
    "limits that are none": ({"limits": 3}, ("limits: read 3", "expected [limits]")),
    "owned things of no kind": ({"have": {"camera": {}}},
     ("have.camera: read", "cameras, lenses, lamps")),
    "owned without a name": ({"have": {"cameras": {"pixels": 8192}}},
     ("have.cameras: read", 'expected a table for each, as [have.cameras."ours"]')),
    "a camera without pixels": ({"have": {"cameras": {"ours": {"pixel_width": "5 um"}}}},
     ('have.cameras."ours".pixels: nothing was read', "needed, for example 8192")),
    "a lens without a focal length": ({"have": {"lenses": {"old": {"f_number": 4}}}},
     ('have.lenses."old".focal_length: nothing was read', 'needed, for example "60 mm"')),
    "a camera with a key that none has": ({"have": {"cameras": {"ours": {**CAMERA, "pixel": 1}}}},
     ('have.cameras."ours".pixel: read 1', "no such key")),
    "a camera of a pixel out of range": (
     {"have": {"cameras": {"ours": {**CAMERA, "pixel_width": "5 kg"}}}},
     ('have.cameras."ours".pixel_width: read', "5 kg", "expected a pixel size")),
    "a lamp by its irradiance": (
     {"have": {"lamps": {"a": {"illuminance": "1 klx", "irradiance": "3 W/m^2"}}}},
     ('have.lamps."a".irradiance: read', "expected illuminance")),
    "settled what is looked for": ({"setup": {"light.illuminance": "80 klx"}},
     ("setup.light.illuminance: read", "80 klx", "expected a bound on it in [limits]")),
    "settled with a key that there is not": ({"setup": {"light.colour": "red"}},
     ("setup.light.colour: read", "red", "no such key")),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_job_is_refused_in_a_sentence(name: str) -> None:
    """One sentence for one fault: the key, what was read, what is expected."""
    texts, parts = REFUSED[name]
    sentence = refusal(texts)
    assert [part for part in parts if part not in sentence] == []
    assert sentence.startswith(parts[0])
    assert sentence.isprintable()


def test_all_faults_come_at_once() -> None:
    """Faults of every table stand in one refusal."""
    with pytest.raises(InputError) as refused:
        job_from(
            {
                "title": "a job",
                "job": {"speed": "fast", "colour": 1},
                "limits": {"most": 1},
                "have": {"lenses": {"old": {}}},
            }
        )
    keys = {each.split(":")[0] for each in refused.value.faults}
    wanted = {"job.field_of_view", "job.speed", "job.colour", "limits.most"}
    assert keys == {*wanted, 'have.lenses."old".focal_length'}


def test_a_setup_file_is_no_job(tmp_path: Path) -> None:
    """A setup in place of a job is recognised, and what is expected is named."""
    path = tmp_path / "station.toml"
    path.write_text(resolved_text(sample_setup(), tmp_path), "utf-8")
    with pytest.raises(InputError, match=r"^job: .*setup file; expected .*--new JOB\.toml"):
        load_job(path)


def test_a_range_of_speeds_is_read_from_either_end() -> None:
    """The slowest comes first, and one speed is both."""
    job = job_from({"title": "a job", "job": {**JOB, "speed": "90 m/min : 20 m/min"}})
    assert job.speeds_mm_s == pytest.approx((20e3 / 60, 1500.0))
    assert job_from({"title": "a job", "job": JOB}).speeds_mm_s == (1500.0, 1500.0)


def test_every_key_of_the_commented_job_can_be_said() -> None:
    """With the marks of comment taken away, the starter job still loads, key by key."""
    heads = ("[have", "[setup]")
    plain = [
        line.removeprefix("# ")
        for line in starter_job().splitlines()[3:]
        if "=" in line or line.removeprefix("# ").startswith((*heads, "["))
    ]
    text = "\n".join(plain)
    assert text.count("\n[have") == 3
    job = job_from(tomllib.loads(text))
    assert job.colour
    assert [len(each) for each in (job.cameras, job.lenses, job.lamps)] == [1, 1, 1]
    assert len(job.limits) == 6


def test_new_writes_a_job_that_loads_and_is_not_overwritten(tmp_path: Path) -> None:
    """The file loads as it is; a second --new leaves it alone, unless forced."""
    path = tmp_path / "job.toml"
    run = CliRunner()
    assert run.invoke(app, ["design", "--new", str(path)]).exit_code == 0
    assert load_job(path).field_of_view_mm == 1200
    path.write_text("mine", "utf-8")
    refused = run.invoke(app, ["design", "--new", str(path)])
    assert isinstance(refused.exception, InputError)
    assert path.read_text("utf-8") == "mine"
    assert run.invoke(app, ["design", "--new", str(path), "--force"]).exit_code == 0
    assert path.read_text("utf-8") == starter_job()


def no_constant(name: str) -> float:
    """Refuse what JSON does not have."""
    raise AssertionError(name)


def test_json_is_one_object(tmp_path: Path) -> None:
    """With --json stdout is design.json alone, in numbers that JSON has; exit code 0."""
    path = tmp_path / "job.toml"
    path.write_text(SMALL, "utf-8")
    out = tmp_path / "there"
    done = CliRunner().invoke(app, ["design", str(path), "--json", "--strict", "--out", str(out)])
    assert done.exit_code == 0
    told = json.loads(done.stdout, parse_constant=no_constant)
    assert told == json.loads((out / "design.json").read_text("utf-8"))
    assert not (out / "report.html").exists()
    assert told["best"]["cameras"] == 1
    assert math.isfinite(told["best"]["illuminance_lx"])
    assert all(verdict["met"] for verdict in told["best"]["verdicts"])


def test_strict_ends_with_1_where_nothing_does(tmp_path: Path) -> None:
    """Where no station does the job: exit code 0, and 1 with --strict, with the same answer."""
    path = tmp_path / "job.toml"
    path.write_text(SMALL + "[limits]\nleast_depth_of_field = '0.3 m'\n", "utf-8")
    run = CliRunner()
    plain, strict = (
        run.invoke(app, ["design", str(path), "--out", str(tmp_path / "there"), *more])
        for more in ((), ("--strict",))
    )
    assert (plain.exit_code, strict.exit_code) == (0, 1)
    assert plain.stdout == strict.stdout
    assert "Relax least depth of field from 300 to " in plain.stdout
