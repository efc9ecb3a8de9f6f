"""What a study along ranges says, in sentences."""

from collections.abc import Iterator, Sequence

import numpy as np

from linesim.figures.demands import Demand
from linesim.figures.plain_numbers import digits
from linesim.studies.batch.judged import ALWAYS, asked_of, worst_of
from linesim.studies.batch.ranges import Range, short
from linesim.studies.vary.answers import Answer
from linesim.studies.vary.crossing import Span
from linesim.studies.vary.joint_words import EXPOSURES, together
from linesim.studies.vary.labels import (
    demand_words,
    missed_words,
    number_words,
    part_words,
    parts_words,
    value_words,
)
from linesim.studies.vary.study import Varied, best_place, judged_values

_NOTHING = (
    "The setup requires nothing that a range could be judged by; expected requirement.snr or "
    "requirement.smallest_defect in the setup file for an answer."
)


_BEST = {"snr_product": "SNR on the product is", "defect_dprime": "d′ of the defect is"}


def answer(found: Varied) -> tuple[str, ...]:
    """Say where along a range everything holds, where each requirement is met, and what fails."""
    nothing = () if asked_of(found.judged_by) else (_NOTHING,)
    if len(found.ranges) > 1:
        return (*nothing, *together(found), *_of_grid(found))
    return (*nothing, *together(found), *_of_range(found), *_best_place(found), *_failures(found))


def _best_place(found: Varied) -> Iterator[str]:
    """Say at which angle of a lamp a figure is best."""
    over, many = found.ranges[0], len(found.curves) > 1
    for curve in found.curves:
        for name, said in _BEST.items():
            place = best_place(found, curve, name)
            if place is not None:
                head = f"{curve.title}: " if many else ""
                best = digits(float(judged_values(found, curve, name)[place]), 4)
                yield f"{head}{said} best at {over.said(over.base_values[place])}, {best}."


def _of_range(found: Varied) -> Iterator[str]:
    several = len(found.curves) > 1
    exposures = list(dict.fromkeys(each.exposure for each in found.answers))
    for demand in asked_of(found.judged_by):
        for exposure in exposures:
            rows = [
                each for each in found.answers if (each.demand, each.exposure) == (demand, exposure)
            ]
            head = f"{EXPOSURES[exposure]}, " if several and exposure else ""
            text = head + _one(found, demand, rows)
            yield f"{text[0].upper()}{text[1:]}."


def _one(found: Varied, demand: Demand, rows: Sequence[Answer]) -> str:
    over = found.ranges[0]
    # where it ends again, as where the product clips, is said with all that holds together
    rising = all(len(row.met) == 1 and row.met[0].begins for row in rows)
    falling = all(_only(row, begins=False, ends=True) for row in rows)
    if rising or falling:
        return _side_by_side(over, demand, rows, rising=rising)
    return ", ".join(_alone(found, demand, row) for row in rows)


def _only(row: Answer, *, begins: bool, ends: bool) -> bool:
    return len(row.met) == 1 and (row.met[0].begins, row.met[0].ends) == (begins, ends)


def _side_by_side(over: Range, demand: Demand, rows: Sequence[Answer], *, rising: bool) -> str:
    """Put the binning first that needs least, or holds longest, and measure the others."""
    at = {row.title: row.met[0].low if rising else row.met[0].high for row in rows}
    best, *others = sorted(rows, key=lambda row: at[row.title], reverse=not rising)
    verb = "reaches" if rising else "holds"
    where = "at" if rising else "up to"
    parts = [f"{best.title} {verb} {demand_words(demand)} {where} {_said(over, best, at)}"]
    for row in others:
        ratio = at[row.title] / at[best.title] if at[best.title] else np.nan
        times = f" ({_times(ratio)})" if ratio > 0 else ""
        need = "needs" if rising else "up to"
        parts.append(f"{row.title} {need} {_said(over, row, at)}{times}")
    return ", ".join(parts)


def _times(ratio: float) -> str:
    return f"{short(ratio) if ratio < 1 else f'{ratio:.1f}'} times"


def _said(over: Range, row: Answer, at: dict[str, float]) -> str:
    """Say where a requirement is met, and whether the picture clips there already."""
    return f"{value_words(over, at[row.title])}{'' if row.able else ', where ' + _unable(row)}"


def _unable(row: Answer) -> str:
    """Say what fails wherever a requirement is met."""
    return " or ".join(map(missed_words, row.against)) or "the station clips or cannot run"


def _alone(found: Varied, demand: Demand, row: Answer) -> str:
    """Say where one binning meets a requirement."""
    over = found.ranges[0]
    if not row.met:
        return f"{row.title} never reaches {demand_words(demand)} in this range{_best(found, row)}"
    fails = "" if row.able else f", but only where {_unable(row)}"
    return f"{row.title} meets {demand_words(demand)} {parts_words(over, row.met)}{fails}"


def _best(found: Varied, row: Answer) -> str:
    """Say what is reached at best, where the study has the figure of that curve."""
    if row.exposure != found.exposure:
        return ""
    curve = next(each for each in found.curves if each.title == row.title)
    got = worst_of(row.demand, curve.figures)
    index = int(np.argmax(row.demand.margin(got)))
    if not np.isfinite(got[index]):
        return ""
    place = value_words(found.ranges[0], found.ranges[0].base_values[index])
    return f": at best {number_words(row.demand.figure, float(got[index]))}, at {place}"


def _failures(found: Varied) -> Iterator[str]:
    """Say where the picture clips or the station cannot run, for each binning."""
    own = [each for each in found.answers if each.exposure == found.exposure]
    for demand in found.judged_by:
        rows = [each for each in own if each.demand == demand and demand.requirement in ALWAYS]
        failing = [row for row in rows if not _only(row, begins=False, ends=False)]
        if failing:
            parts = [f"with {row.title} {_beyond(found.ranges[0], row.met)}" for row in failing]
            text = missed_words(demand)
            yield f"{text[0].upper()}{text[1:]} {', '.join(parts)}."
        elif rows and demand.requirement == "clipping":
            yield "The picture does not clip in this range."


def _beyond(over: Range, free: tuple[Span, ...]) -> str:
    """Say where something fails, from where it does not."""
    if len(free) != 1:
        return f"but {parts_words(over, free)}" if free else "everywhere in this range"
    low, high = value_words(over, free[0].low), value_words(over, free[0].high)
    parts = (f"below {low}" * free[0].begins, f"above {high}" * free[0].ends)
    return " and ".join(part for part in parts if part) or "nowhere"


def _of_grid(found: Varied) -> Iterator[str]:
    """Say where along the first key a requirement is met, at both ends of the second."""
    over, second = found.ranges
    for demand in asked_of(found.judged_by):
        for title in [curve.title for curve in found.curves]:
            every = [each for each in found.answers if (each.demand, each.title) == (demand, title)]
            rows = [every[0], every[-1]]
            parts = [
                f"at {value_words(second, row.second or 0.0)} {brief(over, row)}" for row in rows
            ]
            yield f"{title} meets {demand_words(demand)}: {', '.join(parts)}."


def brief(over: Range, row: Answer) -> str:
    """Say where a requirement is met, short enough for a cell of a table."""
    if not row.met:
        return "nowhere"
    parts = [part_words(over, span).partition(",")[0] for span in row.met]
    return " and ".join(parts) + ("" if row.able else ", but clips or cannot run")
