"""What the first page of a report says of one station: four figures, and what limits it."""

from collections.abc import Mapping

import numpy as np

from linesim.figures.budget import Budget
from linesim.figures.case import Value, values
from linesim.figures.clipping import nearest_place
from linesim.figures.curves import noise_sources_e
from linesim.figures.demands import NEVER
from linesim.figures.plain_numbers import digits, percent, rate
from linesim.figures.verdicts import Verdict
from linesim.forward.station import station
from linesim.report.page_parts import Facts, Part, Text
from linesim.report.verdict_words import closest, name_of, place_of, spare
from linesim.setup.setup import Setup

_OF_NOISE = ("smallest_defect", "snr", "detection_rate", "false_alarms_per_m2")
"""What noise decides about."""
_PATTERN = "fixed pattern"
_LEAST_SNR = 0.01
_RULES = 0.5
"""Share of the noise from which on one source is told as the most of it."""
_HELPS = {
    "shot noise": "more light on the sensor helps: lamp, aperture, exposure, larger pixels",
    "read noise": "more light, or binning in charge, helps",
    "dark current": "a shorter exposure or a cooler sensor helps",
    "quantisation": "more bits or more gain help",
    "line noise": "only another camera helps",
}
Fact = tuple[str, str, str]


def first_facts(setup: Setup, found: Budget) -> Facts:
    """Choose four figures: what is found, SNR, how near it is to clipping, how it samples."""
    judged = {each.requirement: each for each in found.verdicts}
    return Facts(
        (
            _size(setup, found, judged),
            _snr(setup, found, judged),
            _brightest(setup, found, judged["clipping"]),
            _sampling(found),
        )
    )


def _size(setup: Setup, found: Budget, judged: Mapping[str, Verdict]) -> Fact:
    """Say what is found, or how sharp it is where nothing is sought."""
    asked = judged.get("smallest_defect")
    if asked is None:
        sharp = found["resolution"]
        both = " / ".join(digits(min(values(sharp[f"mtf50_{axis}_lp_mm"]))) for axis in ("x", "y"))
        return "MTF50", f"{both} lp/mm", "across / along, on the target"
    got = "none" if asked.got == NEVER else f"{digits(asked.got)} um"
    where = place_of(setup, asked)
    note = f"{digits(asked.wanted)} um required{f'; {where}' if where else ''}"
    return name_of(setup, "smallest_defect"), got, note


def _snr(setup: Setup, found: Budget, judged: Mapping[str, Verdict]) -> Fact:
    asked = judged.get("snr")
    got = min(values(found["signal"]["snr_product"])) if asked is None else asked.got
    where = "" if asked is None else place_of(setup, asked)
    wanted = "" if asked is None else f"{digits(asked.wanted)} required"
    # of a product that clips next to nothing is left
    return (
        "SNR on the product",
        digits(got if got >= _LEAST_SNR else 0.0),
        "; ".join(filter(None, (wanted, where))),
    )


def _brightest(setup: Setup, found: Budget, clipping: Verdict) -> Fact:
    share = max(values(found["limits"]["clipping_share"]))
    note = f"of {nearest_place(station(setup), share)}; {spare(setup, clipping)}"
    return "brightest part", percent(share), note


def _sampling(found: Budget) -> Fact:
    place = found["geometry"]
    sides = " x ".join(f"{digits(_one(place[f'object_pixel_{axis}_um']), 4)}" for axis in "xy")
    return "object pixel", f"{sides} um", f"at {rate(_one(place['line_rate_hz']), 4)}"


def _one(value: Value) -> float:
    return values(value)[0]


def limiting(setup: Setup, found: Budget, limits: tuple[Verdict, ...] = ()) -> str:
    """Say what limits a station first, and what would help."""
    near = closest((*found.verdicts, *limits))
    name, left, place = name_of(setup, near.requirement), spare(setup, near), place_of(setup, near)
    said = f"Limiting factor: {name}{f' ({place})' if place else ''}, {left}."
    noise = _noise_words(setup, found) if near.requirement in _OF_NOISE else ""
    return f"{said} {noise}".strip()


def _noise_words(setup: Setup, found: Budget) -> str:
    """Say which source of noise there is most of, and what helps against it."""
    texture = max(values(found["detection"].get("texture_share", 0.0)))
    if texture > _RULES:
        return (
            f"{percent(texture, 2)} of the noise is the product's own texture: more light does "
            "not help."
        )
    weakest = min(station(setup).by_colour, key=lambda one: float(one.electrons_white))
    signal_e = max(min(values(found["signal"]["electrons_product"])), 0.0)
    found_e2 = {
        name: float(np.square(noise))
        for name, noise in noise_sources_e(weakest, signal_e).items()
        if name != _PATTERN  # the same in every line
    }
    total_e2 = sum(found_e2.values())
    if total_e2 <= 0:
        return ""
    most = max(found_e2, key=lambda name: found_e2[name])
    share = percent(found_e2[most] / total_e2, 2)
    return f"Of the noise on the product {share} is {most}: {_HELPS[most]}."


def first_parts(setup: Setup, found: Budget, limits: tuple[Verdict, ...] = ()) -> tuple[Part, ...]:
    """Give the figures of the first page, and what limits."""
    return first_facts(setup, found), Text((limiting(setup, found, limits),))
