"""A line that runs at several speeds, and the round numbers of the file that comes of it."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from linesim.figures.budget import budget
from linesim.setup.load import changed, load_setup
from linesim.setup.speeds import at_slowest
from linesim.studies.design.job import job_from
from linesim.studies.design.outputs import write_design
from linesim.studies.design.study import Design, design

JOB = {
    "field_of_view": "0.77 m",
    "speed": "7 m/min:100 m/min",
    "smallest_defect": "0.43 mm",
    "product_reflectance": 0.4,
    "snr": 15,
}
CAMERA = {"pixels": 8192, "pixel_width": "5 um", "max_line_rate": "60 kHz", "link": "850 MB/s"}
LIKE_A_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")


@pytest.fixture(scope="module")
def found() -> Design:
    """Design for a range of speeds, with a camera that is there."""
    have = {"cameras": {"ours": CAMERA}}
    return design(job_from({"title": "Two speeds", "job": JOB, "have": have}))


def test_both_ends_are_met(found: Design) -> None:
    """At the slowest and at the fastest, each its own budget, every verdict is met."""
    best = found.best
    assert best is not None
    for speed in ("7 m/min", "33 m/min", "100 m/min"):
        there = budget(changed(best.setup, {"transport.speed": speed}))
        assert {each.state for each in there.verdicts} == {"met"}, speed


def test_the_exposure_is_the_same_at_all_speeds(found: Design) -> None:
    """One time that fits the fastest line: the signal does not depend on the speed (derived)."""
    best = found.best
    assert best is not None
    there = at_slowest(best.setup)
    assert there is not None
    slow, fast = (each["signal"]["electrons_product"] for each in (budget(there), best.budget))
    assert slow == pytest.approx(fast, rel=1e-9)
    exposure_us = best.setup.acquisition.exposure
    period_us = 1e6 / best.candidate.rate_hz
    assert isinstance(exposure_us, float)
    # three digits, rounded down
    assert 0.989 * period_us < exposure_us <= period_us


def numbers_in(table: Mapping[str, object], name: str = "") -> Iterator[tuple[str, str]]:
    """Give every number of a file as it is written, with its key."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from numbers_in(value, f"{name}{key}.")
        elif not isinstance(value, bool) and key != "title":
            first = str(value).split(" ")[0]
            if LIKE_A_NUMBER.fullmatch(first):
                yield f"{name}{key}", first


def digits_of(number: str) -> int:
    """Count significant digits."""
    mantissa = number.split("e", maxsplit=1)[0].replace(".", "").lstrip("-0")
    return len(mantissa.rstrip("0"))


def test_numbers_are_round(found: Design, tmp_path: Path) -> None:
    """A file that a person might have typed: four digits at most, the encoder's step apart."""
    write_design(found, tmp_path)
    files = sorted(tmp_path.glob("*.toml"))
    assert tmp_path / "best.toml" in files
    for path in files:
        written = dict(numbers_in(tomllib.loads(path.read_text("utf-8"))))
        assert written["transport.slowest_speed"] == "7"
        assert {"lens.field_of_view", "transport.speed", "acquisition.exposure"} <= set(written)
        long = {key: number for key, number in written.items() if digits_of(number) > 4}
        assert set(long) <= {"transport.encoder_step"}
        assert {each.state for each in budget(load_setup(path)).verdicts} == {"met"}
