"""Verdicts in words: one sentence for each, one for all of a setup, the same in every place."""

from collections.abc import Callable, Sequence

from linesim.figures.clipping import brightest_of, nearest_place
from linesim.figures.demands import CANNOT_RUN, NEVER
from linesim.figures.plain_numbers import alarms, apart, chance, digits, percent, rate, ratio_words
from linesim.figures.verdicts import Verdict, worst_state
from linesim.forward.station import station
from linesim.report.remedies import light_that_fits, remedy
from linesim.setup.setup import Setup
from linesim.setup.speeds import at_slowest

STATES = {"met": "met", "missed": "MISSED", "cannot run": "CANNOT RUN"}
"""What stands in front of a verdict."""
NAMES = {
    "line_rate": "line rate",
    "pulse_rate": "pulse rate",
    "link": "link",
    "exposure": "exposure",
    "clipping": "clipping",
    "smallest_defect": "smallest disc found",
    "snr": "SNR on the product",
    "detection_rate": "defects found",
    "false_alarms_per_m2": "false alarms",
}
LIMITS = ("most_", "least_")
"""How the names of limits begin that a job sets besides."""
_LEAST_SNR = 0.01
"""Under it there is no signal to speak of; our choice."""


def _snr(value: float, count: int) -> str:
    return digits(value, count) if value >= _LEAST_SNR else f"under {_LEAST_SNR:g}"


_BOTH: dict[str, tuple[Callable[[float, int], str], str]] = {
    "line_rate": (rate, "{} needed, the camera does {}"),
    "pulse_rate": (rate, "{} needed, the lamp does {}"),
    "link": (digits, "{} MB/s of data, the link carries {} MB/s"),
    "exposure": (digits, "{} us, the line period leaves {} us"),
    "smallest_defect": (digits, "{} um, {} um asked"),
    "snr": (_snr, "{}, {} wanted"),
    "detection_rate": (chance, "{}, {} wanted"),
    "false_alarms_per_m2": (alarms, "{}, {} allowed"),
}
"""How numbers are written, and what is reached and asked."""
_ON_LIMIT: tuple[Callable[[float, int], str], str] = (digits, "{}, the limit is {}")
_SENTENCES = {
    "line_rate": ("needs", " needed,", ","),
    "pulse_rate": ("needs", " needed,", ","),
    "link": ("the data take", " of data,", ","),
    "exposure": ("exposes", "", ""),
    "smallest_defect": ("finds", "", ""),
    "snr": ("SNR on the product is", "", ""),
    "detection_rate": ("finds", " %,", " % of them,"),
    "false_alarms_per_m2": ("false alarms are", "", ""),
}
"""What stands before it in a sentence, and what is said otherwise there."""
_LIMIT = (("the need", "to spare"), ("the limit", "over the limit"))
_WORDS = {
    "line_rate": _LIMIT,
    "pulse_rate": _LIMIT,
    "link": _LIMIT,
    "exposure": _LIMIT,
    "smallest_defect": (("finer", "finer"), ("too coarse", "too coarse")),
    "snr": (("what is wanted", "to spare"), ("too low", "short")),
    "detection_rate": (("fewer lost", ""), ("too many lost", "")),
    "false_alarms_per_m2": (("fewer", "fewer"), ("too many", "too many")),
}
"""Behind a factor and behind percent: of what is passed, and of what is missed."""
_SCRATCH = "thinnest scratch found"
_PLACES = {
    "ends": "at the ends of the line",
    "middle": "in the middle of the line",
    "aged": "with the lamp at the end of its service",
    "aged ends": "at the ends of the line, with the lamp at the end of its service",
}
_WHITE = 0.005
"""Levels closer to white than this are told as white."""
_TIMES = 1.5
"""Ratios from here on are told as a factor, smaller ones in percent."""
_NEXT_TO_NOTHING = 5e-4
OF_THE_STATION = (*CANNOT_RUN, "clipping")


def name_of(setup: Setup, requirement: str) -> str:
    """Name what is judged."""
    relief = setup.requirement.defect_relief
    if requirement == "smallest_defect" and relief is not None:
        return f"narrowest {relief.kind} found"
    if requirement == "smallest_defect" and setup.requirement.defect_shape != "disc":
        return _SCRATCH
    if requirement.startswith(LIMITS):
        return requirement.partition("_")[2].replace("_", " ")
    return NAMES[requirement]


def got_and_wanted(setup: Setup, verdict: Verdict) -> str:
    """Say what is reached and what is asked, for a place where the name stands in front."""
    setup = _at(setup, verdict)
    if verdict.requirement == "clipping":
        return _clipping(setup, verdict)
    form, text = _BOTH.get(verdict.requirement, _ON_LIMIT)
    if verdict.got == NEVER:
        unit = " um" if verdict.requirement == "smallest_defect" else ""
        return f"none, {form(verdict.wanted, 3)}{unit} asked"
    return text.format(*apart(verdict.got, verdict.wanted, form))


def _at(setup: Setup, verdict: Verdict) -> Setup:
    """Give the station at the speed that decides."""
    slow = at_slowest(setup) if verdict.speed == "slowest" else None
    return slow or setup


def _clipping(setup: Setup, verdict: Verdict) -> str:
    numbers = station(setup)
    level = "the target's brightest part"
    if setup.camera.kind == "mono" and setup.irradiance_w_m2 + setup.ambient_w_m2 > 0:
        of_white = brightest_of(numbers, verdict.got)
        near = abs(of_white - 1) <= _WHITE
        level = "white" if near else f"{level}, {percent(of_white)} of white,"
    share, limit = apart(verdict.got, 1.0, percent)[0], nearest_place(numbers, verdict.got)
    return f"{level} takes {share} of {limit}"


def spare(setup: Setup, verdict: Verdict) -> str:
    """Say by how much a requirement is passed or missed."""
    setup = _at(setup, verdict)
    if verdict.got == NEVER or (verdict.requirement == "snr" and verdict.got <= 0):
        return "no signal"
    if verdict.requirement == "clipping":
        return _light_words(setup, verdict)
    return _factor(verdict)


def _factor(verdict: Verdict) -> str:
    """Say by which factor, or by how many percent where that is small."""
    of_lost = verdict.requirement == "detection_rate"
    ratio = _of_the_lost(verdict) if of_lost else _ratio(verdict)
    if ratio < 1 + _NEXT_TO_NOTHING:
        return "just enough" if verdict.met else "by a hair"
    times, part = _WORDS.get(verdict.requirement, _LIMIT)[0 if verdict.met else 1]
    if ratio >= _TIMES or of_lost:
        return f"{ratio_words(ratio)} {times}"
    # short of what is wanted is a part of that, over a limit a part of the limit
    short = not verdict.met and verdict.requirement == "snr"
    return f"{digits(100 * (1 - 1 / ratio if short else ratio - 1), 2)} % {part}"


def _ratio(verdict: Verdict) -> float:
    """Give the factor by which it is passed or missed, from 1 up."""
    passed = max(1 + verdict.margin, 1e-12)
    return passed if verdict.met else 1 / passed


def _of_the_lost(verdict: Verdict) -> float:
    """Set the defects that are not found against those that may be lost."""
    lost, allowed = max(1 - verdict.got, 1e-12), 1 - verdict.wanted
    return allowed / lost if verdict.met else lost / allowed


def _light_words(setup: Setup, verdict: Verdict) -> str:
    light = light_that_fits(setup, verdict.got)
    if light is None:
        return "far from it" if verdict.met else "in any light"
    return f"clips from {light} on" if verdict.met else f"stops clipping at {light}"


def place_of(setup: Setup, verdict: Verdict) -> str:
    """Say what decides: which colour, which place of the line, which speed."""
    coloured = setup.camera.kind != "mono" and verdict.requirement not in OF_THE_STATION
    said = ["weakest colour"] if coloured else []
    said += [_PLACES[verdict.where]] if verdict.where in _PLACES else []
    said += [f"at {_at(setup, verdict).texts['transport']['speed']}"] if verdict.speed else []
    return ", ".join(said)


def clause(setup: Setup, verdict: Verdict) -> str:
    """Say what is reached and asked, and what helps where it is missed, as part of a sentence."""
    place, helps = place_of(setup, verdict), remedy(_at(setup, verdict), verdict)
    said = _said(setup, verdict) + (f" ({place})" if place else "")
    link = ", and" if verdict.requirement == "clipping" else ";"
    return f"{said}{link} {helps}" if helps else said


def _said(setup: Setup, verdict: Verdict) -> str:
    text, requirement = got_and_wanted(setup, verdict), verdict.requirement
    if verdict.got == NEVER:
        return f"finds {text}: no signal"
    if requirement == "clipping":
        return f"the picture {'does not clip' if verdict.met else 'clips'}: {text}"
    name = name_of(setup, requirement)
    before, cut, instead = _SENTENCES.get(requirement, (f"{name} is", "", ""))
    behind = f": {spare(setup, verdict)}" if requirement == "smallest_defect" else ""
    return f"{before} {text.replace(cut, instead, 1)}{behind}"


def sentence(setup: Setup, verdict: Verdict) -> str:
    """Tell one verdict."""
    head = {"met": "Met", "missed": "Missed", "cannot run": "Cannot run"}[verdict.state]
    return f"{head}: {clause(setup, verdict)}."


def summary(setup: Setup, verdicts: Sequence[Verdict]) -> str:
    """Tell all verdicts in a sentence or two: whether it runs, what it misses, what is closest."""
    state = worst_state(verdicts)
    if state == "met":
        return _met(setup, verdicts)
    clauses = {
        each: [clause(setup, verdict) for verdict in verdicts if verdict.state == each]
        for each in ("cannot run", "missed")
    }
    missed = f"{len(clauses['missed'])} of {len(verdicts)}: {'; '.join(clauses['missed'])}."
    if state == "missed":
        return f"Misses {missed}"
    cannot = f"Cannot run: {'. Also: '.join(clauses['cannot run'])}."
    return f"{cannot} Besides, misses {missed}" if clauses["missed"] else cannot


def _met(setup: Setup, verdicts: Sequence[Verdict]) -> str:
    asked = [each for each in verdicts if each.requirement not in OF_THE_STATION]
    if not asked:
        return "Can run and does not clip; the setup asks for nothing else."
    near = closest(verdicts)
    name, left, place = name_of(setup, near.requirement), spare(setup, near), place_of(setup, near)
    return (
        f"Meets all {len(verdicts)}; the closest is {name}{f' ({place})' if place else ''}, {left}."
    )


def closest(verdicts: Sequence[Verdict]) -> Verdict:
    """Find what limits first: what stops the station, what is missed most, what is nearest."""
    state = worst_state(verdicts)
    if state != "met":
        return min((each for each in verdicts if each.state == state), key=lambda one: one.margin)
    # an exposure of all the period has none to spare, and means to
    return min((each for each in verdicts if each.requirement != "exposure"), key=_distance)


def _distance(verdict: Verdict) -> float:
    """Share by which it is passed; of a rate, by which fewer are lost than may be."""
    return (
        _of_the_lost(verdict) if verdict.requirement == "detection_rate" else _ratio(verdict)
    ) - 1
