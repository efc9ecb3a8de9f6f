"""Each verdict has one sentence, in the units that were typed, and one stands first for all."""

import re
from typing import Any

import pytest

from linesim.figures.budget import budget
from linesim.figures.verdicts import Verdict
from linesim.report.remedies import light_that_fits
from linesim.report.verdict_words import clause, sentence, summary
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from tests.stations import plain_setup

# 75 um at 60 m/min are 13 333.3 lines a second, of 1024 samples of two bytes: 27.31 MB/s
BASE = plain_setup(
    "A foil line",
    target={"pixel_size": "25 um", "repeat": True},
    camera={"pixels": 1024},
    acquisition={"lines": 64},
    requirement={"snr": 20, "smallest_defect": "300 um"},
)
CLOCK = {"acquisition.line_rate": "10 kHz"}
ENCODER: dict[str, Any] = {"transport.trigger": "encoder", "transport.encoder_step": "25 um"}


def verdict_of(setup: Setup, requirement: str) -> Verdict:
    """Pick one of a setup's verdicts."""
    return next(v for v in budget(setup).verdicts if v.requirement == requirement)


@pytest.mark.parametrize(
    ("changes", "requirement", "said"),
    [
        ({"camera.max_line_rate": "5 kHz"}, "line_rate",
         "needs 13.3 kHz, the camera does 5 kHz; slow to 22.5 m/min or enlarge the object pixel"),
        ({"camera.max_line_rate": "5 kHz", "transport.speed": "1 m/s"}, "line_rate",
         "needs 13.3 kHz, the camera does 5 kHz; slow to 0.375 m/s or enlarge the object pixel"),
        # 3 counts of 25 um a line
        ({"camera.max_line_rate": "5 kHz", **ENCODER, "transport.encoder_divider": 3}, "line_rate",
         "needs 13.3 kHz, the camera does 5 kHz; slow to 22.5 m/min or raise encoder_divider"),
        ({"camera.max_line_rate": "5 kHz", **CLOCK}, "line_rate",
         ("needs 10 kHz, the camera does 5 kHz; ask for no more than 5 kHz, and slow to "
          "30 m/min to keep the sampling")),
        ({"camera.max_line_rate": "5 kHz", "transport.assumed_speed": "30 m/min"}, "line_rate",
         ("needs 6.67 kHz, the camera does 5 kHz; slow to 45 m/min (assumed_speed 22.5 "
          "m/min) or enlarge the object pixel")),
        # 60 m/min x 10/27.307 = 21.97, rounded down so that it holds
        ({"camera.link": "10 MB/s"}, "link",
         ("the data take 27.3 MB/s, the link carries 10 MB/s; slow to 21.9 m/min, join "
          "pixels or take a wider link")),
        ({"acquisition.exposure": "100 us"}, "exposure",
         ("exposes 100 us, the line period leaves 75 us; expose 75 us at most, or slow to "
          "45 m/min")),
        # the dead time stays: (70 + 5)/(95 + 5) of the speed
        ({"acquisition.exposure": "95 us", "camera.dead_time": "5 us"}, "exposure",
         ("exposes 95 us, the line period leaves 70 us; expose 70 us at most, or slow to "
          "45 m/min")),
    ],
)  # fmt: skip
def test_what_cannot_run_is_told_with_what_helps(
    changes: dict[str, Any], requirement: str, said: str
) -> None:
    """Need, what there is, and the speed or time at which it fits, as typed."""
    setup = changed(BASE, changes)
    found = verdict_of(setup, requirement)
    assert found.state == "cannot run"
    assert clause(setup, found) == said
    assert sentence(setup, found) == f"Cannot run: {said}."
    assert summary(setup, budget(setup).verdicts).startswith(f"Cannot run: {said}.")


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"camera.max_line_rate": "5 kHz"}, "line_rate"),
        (
            {"camera.max_line_rate": "7.7 kHz", **ENCODER, "transport.speed_ripple": 0.1},
            "line_rate",
        ),
        ({"camera.link": "11.3 MB/s"}, "link"),
        ({"acquisition.exposure": "131 us", "camera.dead_time": "3 us"}, "exposure"),
    ],
)
def test_the_speed_that_is_told_runs(changes: dict[str, Any], name: str) -> None:
    """Slowed to it the verdict is met; 1 % faster it is not."""
    setup = changed(BASE, changes)
    told = re.search(r"slow to ([\d.]+) m/min", clause(setup, verdict_of(setup, name)))
    assert told is not None
    slow, fast = (
        changed(setup, {"transport.speed": f"{share * float(told[1])} m/min"})
        for share in (1, 1.01)
    )
    assert verdict_of(slow, name).met
    assert not verdict_of(fast, name).met


@pytest.mark.parametrize("kind", ["mono", "prism"])
@pytest.mark.parametrize("ambient", ["0 lx", "20 klx"])
def test_the_light_that_is_told_does_not_clip(kind: str, ambient: str) -> None:
    """At it the picture does not clip; with 1 % more it does, of colours with 3 %."""
    given = {"light.illuminance": "600 klx", "light.ambient": ambient, "camera.kind": kind}
    setup = changed(BASE, given)
    told = re.search(
        r"stops clipping at ([\d.]+) klx", clause(setup, verdict_of(setup, "clipping"))
    )
    assert told is not None
    # three digits rounded down are 1 % at most
    for share, met in ((1.0, True), (1.01 if kind == "mono" else 1.03, False)):
        lit = changed(setup, {"light.illuminance": f"{share * float(told[1])} klx"})
        assert verdict_of(lit, "clipping").met is met


@pytest.mark.parametrize(
    ("changes", "limit"),
    [
        ({"camera.full_well": "5 ke", "camera.gain": "0.05 DN/e"}, "the pixel's full well"),
        (
            {"acquisition.binning": "2x2", "camera.binned_full_well": "20 ke"},
            "the full well of summed charge",
        ),
        ({"camera.gain": "1 DN/e"}, "full scale"),
    ],
)
def test_clipping_names_level_and_limit(changes: dict[str, Any], limit: str) -> None:
    """A white target in whatever limit is the nearest; a target of 40 % by its share."""
    setup = changed(BASE, changes)
    found = verdict_of(setup, "clipping")
    assert found.state == "missed"
    assert re.match(
        rf"the picture clips: white takes [\d.]+ % of {limit}, and stops clipping at [\d.]+ klx",
        clause(setup, found),
    )


def test_no_light_is_low_enough_where_the_dark_clips() -> None:
    """Dark current alone over the well: no light is told."""
    setup = changed(BASE, {"camera.dark_current": "1 Ge/s", "camera.full_well": "40 ke"})
    assert light_that_fits(setup, verdict_of(setup, "clipping").got) is None
    assert "would in any light" in clause(setup, verdict_of(setup, "clipping"))


def test_a_signal_that_clips_away_has_no_digits() -> None:
    """White far over the well moves by nothing: of its SNR it is said that there is hardly any."""
    setup = changed(BASE, {"light.illuminance": "900 klx"})
    found = verdict_of(setup, "snr")
    assert 0 < found.got < 0.01
    assert clause(setup, found).startswith("SNR on the product is under 0.01, 20 wanted")


def test_what_is_missed_is_counted_and_placed() -> None:
    """All that is missed, with the place that decides."""
    setup = changed(BASE, {"requirement.snr": 200, "light.edge_falloff": 0.5})
    told = summary(setup, budget(setup).verdicts)
    got = float(budget(setup)["signal"]["snr_product_ends"])
    assert told == (
        f"Misses 1 of 4: SNR on the product is {got:.3g}, 200 wanted (at the ends of the line)."
    )


def test_what_is_met_names_the_closest() -> None:
    """SNR by a margin of 5 %; the exposure of all the period is not the closest."""
    snr = float(budget(BASE)["signal"]["snr_product"])
    setup = changed(BASE, {"requirement.snr": round(snr / 1.05, 3)})
    told = summary(setup, budget(setup).verdicts)
    assert told == "Meets all 4; the closest is SNR on the product, 5 % to spare."


def test_a_setup_that_asks_for_nothing_can_run() -> None:
    """No claim that requirements are met where there are none."""
    setup = changed(BASE, {"requirement.snr": None, "requirement.smallest_defect": None})
    told = summary(setup, budget(setup).verdicts)
    assert told == "Can run and does not clip; the setup asks for nothing else."


def test_the_weakest_colour_is_told() -> None:
    """Of a colour camera what is required holds for the weakest; the line rate for all."""
    setup = changed(BASE, {"camera.kind": "prism", "camera.max_line_rate": "5 kHz"})
    assert "(weakest colour)" in clause(setup, verdict_of(setup, "snr"))
    assert "colour" not in clause(setup, verdict_of(setup, "line_rate"))
