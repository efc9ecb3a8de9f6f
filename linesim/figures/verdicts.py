"""
Each requirement against what the setup reaches: the one place where it is judged.

Whether asked or not, four things are always judged, at the peak of a speed ripple: the line rate
that the camera can do, the data that its link carries (both where the setup states them), an
exposure that fits the period, and clipping of the brightest part of the target. A station that
fails one of the first three cannot run as it stands. What is required holds at the worst place of
the line, and on the product. The rule itself is in `linesim.figures.demands`.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Literal

from linesim.figures.case import Groups, values
from linesim.figures.demands import CANNOT_RUN, Demand, demands, margin_over, margin_under
from linesim.figures.places import worst_name, worst_place
from linesim.forward.station import Station
from linesim.setup.setup import Setup

State = Literal["met", "missed", "cannot run"]
FEWEST_PIXELS = 3.0
"""Object pixels across the smallest defect, each way; common practice, no source."""
_STATES: tuple[State, ...] = ("met", "missed", "cannot run")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One requirement."""

    # its name in the setup, or what is always judged: "line_rate", "link", "exposure", "clipping"
    requirement: str
    # in the same unit; of clipping, shares of the limit
    wanted: float
    got: float
    margin: float  # share by which it is passed, got/wanted − 1; negative where it is missed
    state: State  # "met", "missed" or "cannot run"
    # what decides: "middle" or "ends" of the line, or "line", where both are alike; "aged" is
    # anywhere with lamps at the end of their service, "aged ends" the ends then
    where: str = "line"
    # of a range of speeds the one that decides, "slowest" or "fastest"; else nothing
    speed: str = ""

    @property
    def met(self) -> bool:
        """Whether it is reached."""
        return self.state == "met"

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        found = asdict(self)
        where, state, speed = (found.pop(name) for name in ("where", "state", "speed"))
        record = {**found, "met": self.met, "state": state, "where": where}
        return record | ({"speed": speed} if speed else {})


def at_least(requirement: str, wanted: float, got: float, where: str = "line") -> Verdict:
    """Judge a figure that should be large."""
    return Verdict(
        requirement=requirement,
        wanted=wanted,
        got=got,
        margin=float(margin_over(got, wanted)),
        state=_state(requirement, met=bool(margin_over(got, wanted) >= 0)),
        where=where,
    )


def at_most(
    requirement: str, wanted: float, got: float, where: str = "line", slack: float = 0.0
) -> Verdict:
    """Judge a figure that should be small."""
    return Verdict(
        requirement=requirement,
        wanted=wanted,
        got=got,
        margin=float(margin_under(got, wanted)),
        state=_state(requirement, met=bool(margin_under(got, wanted * (1 + slack)) >= 0)),
        where=where,
    )


def _state(requirement: str, *, met: bool) -> State:
    if met:
        return "met"
    return "cannot run" if requirement in CANNOT_RUN else "missed"


def worst_state(found: Sequence[Verdict]) -> State:
    """Give the worst of some verdicts."""
    return _STATES[max((_STATES.index(each.state) for each in found), default=0)]


def verdicts(setup: Setup, numbers: Station, groups: Groups, *, even: bool) -> tuple[Verdict, ...]:
    """Judge what is always judged, and every requirement given, by the weakest of the colours."""
    figures = {**groups["limits"], **groups["signal"], **groups["detection"]}
    camera, longest_us = setup.camera, float(numbers.timing.longest_exposure_us)
    # of what is judged as a share of a limit, a verdict tells the limit and what is asked of it
    limits = {
        "line_rate": camera.max_line_rate_hz,
        "link": camera.link_mb_s,
        "pulse_rate": setup.light.max_pulse_rate_hz,
        "exposure": max(longest_us, 1e-9),
    }
    found = (
        _judged(each, figures, limits.get(each.requirement) or 1.0, even=even)
        for each in demands(setup)
    )
    worst = worst_name(setup, even=even)
    return tuple(replace(each, where=worst) if each.where == "ends" else each for each in found)


def _judged(each: Demand, figures: Groups, limit: float, *, even: bool) -> Verdict:
    """Judge one demand: of several colours the weakest counts, and the worst place."""
    weakest = max if each.low_is_good else min
    # without light nothing is found, and the figure is absent
    found = [weakest(values(figures.get(name, each.nothing))) for name in each.figures]
    got, where = found[0], "line" if even else str(each.place)
    if each.place == "worst":
        got, where = worst_place(*found, even=even, low_is_good=each.low_is_good)
    if each.low_is_good:
        return at_most(each.requirement, limit * each.wanted, limit * got, where, each.slack)
    return at_least(each.requirement, limit * each.wanted, limit * got, where)
