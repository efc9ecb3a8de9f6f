"""
Ways to four times the electrons, side by side: more light, wider aperture, more time, binning.

Each is the setup with a few keys changed, so that every figure besides the electrons is worked out
as for any setup. The exposure time is held at the setup's own, or at four times it, so that a dead
time does not blur the comparison.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from linesim.figures.budget import Budget, budget
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.lights import brighter
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.compare.variants import binning_variants

TIMES = 4
_STEP = 2
"""Factor of the f-number (two stops), and of the binning each way, that gives four times."""
_SAME = 0.005
"""Share below which a figure counts as unchanged; our choice."""
Changes = dict[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """One of the ways to more electrons, held beside the setup as it is."""

    title: str
    changes: Mapping[str, object]
    setup: Setup | None
    budget: Budget | None
    refusal: str


def alternatives(setup: Setup) -> tuple[Alternative, ...]:
    """Set the ways to four times the electrons beside the setup; one that is barred says why."""
    exposure_us = float(station(setup).timing.exposure_us)
    held: Changes = {"acquisition.exposure": f"{exposure_us!r} us"}
    asked = (
        ("light x4", {**held, **brighter(setup, TIMES)}),
        ("aperture +2 stops", {**held, "lens.f_number": setup.lens.f_number / _STEP}),
        ("exposure x4, speed /4", _slower(setup, exposure_us)),
        ("4 x TDI stages", {**held, "camera.tdi_stages": setup.camera.tdi_stages * TIMES}),
    )
    as_it_is = Alternative(
        title="as it is", changes={}, setup=setup, budget=budget(setup), refusal=""
    )
    return (
        as_it_is,
        *(_alternative(setup, title, changes) for title, changes in asked),
        _binned(setup),
    )


def _alternative(setup: Setup, title: str, changes: Changes) -> Alternative:
    try:
        made = changed(setup, changes)
        return Alternative(
            title=title, changes=changes, setup=made, budget=budget(made), refusal=""
        )
    except InputError as refusal:
        why = refusal.faults[0]
        return Alternative(title=title, changes=changes, setup=None, budget=None, refusal=why)


def _binned(setup: Setup) -> Alternative:
    """Join twice as many pixels each way, at the exposure time of the setup."""
    binning = setup.acquisition.binning
    own, text = str(binning), f"{_STEP * binning.across}x{_STEP * binning.along}"
    title = f"binning {text}"
    try:
        made = binning_variants(setup, (own, text), exposure="same", keep_line_rate=False)[1].setup
        return Alternative(title=title, changes={}, setup=made, budget=budget(made), refusal="")
    except InputError as refusal:
        return Alternative(
            title=title, changes={}, setup=None, budget=None, refusal=refusal.faults[0]
        )


def _slower(setup: Setup, exposure_us: float) -> Changes:
    """Give a line four times as long, and everything that runs in step with it a quarter."""
    transport, rate = setup.transport, setup.acquisition.line_rate
    changes: Changes = {
        "acquisition.exposure": f"{TIMES * exposure_us!r} us",
        "transport.speed": f"{transport.speed_mm_s / TIMES!r} mm/s",
    }
    if transport.assumed_speed_mm_s is not None:
        changes["transport.assumed_speed"] = f"{transport.assumed_speed_mm_s / TIMES!r} mm/s"
    if not isinstance(rate, str):
        changes["acquisition.line_rate"] = f"{rate / TIMES!r} Hz"
    return changes


def costs(
    found: tuple[Alternative, ...], names: Mapping[str, str]
) -> Iterator[tuple[Alternative, dict[str, float]]]:
    """Measure what each alternative changes besides the electrons."""
    first = found[0].budget
    for alternative in found[1:]:
        if alternative.budget is None or first is None:
            continue
        yield alternative, dict(_ratios(first, alternative.budget, names))


def _ratios(first: Budget, other: Budget, names: Mapping[str, str]) -> Iterator[tuple[str, float]]:
    for name, group in names.items():
        before, after = (each.groups[group].get(name) for each in (first, other))
        if isinstance(before, float) and isinstance(after, float) and before > 0:
            ratio = after / before
            if abs(ratio - 1) > _SAME:
                yield name, ratio
