"""What a study along ranges says, in sentences."""

from collections.abc import Iterator, Sequence

import numpy as np

from linesim.report.vary_labels import value_words, wish_words
from linesim.study.answers import Answer
from linesim.study.crossing import Span
from linesim.study.ranges import Range, short
from linesim.study.vary import Varied
from linesim.study.wishes import UNSATURATED, Wish, weakest

_EXPOSURES = {
    "same": "At the same exposure time",
    "full": "With full exposure, each at its own line rate",
}
_NOTHING = (
    "The setup requires nothing that a range could be judged by; expected requirement.snr or "
    "requirement.smallest_defect in the setup file for an answer."
)


def answer(found: Varied) -> tuple[str, ...]:
    """
    Say where along a range each requirement is met, and where white saturates.

    Parameters
    ----------
    found : Varied
        The study.

    Returns
    -------
    tuple of str
        Sentences.
    """
    if not found.wishes:
        return (_NOTHING, *_saturation(found))
    if len(found.ranges) > 1:
        return tuple(_of_grid(found))
    return (*_of_range(found), *_saturation(found))


def _of_range(found: Varied) -> Iterator[str]:
    several = len(found.courses) > 1
    exposures = list(dict.fromkeys(each.exposure for each in found.answers))
    for wish in found.wishes:
        for exposure in exposures:
            rows = [
                each for each in found.answers if (each.wish, each.exposure) == (wish, exposure)
            ]
            head = f"{_EXPOSURES[exposure]}, " if several and exposure else ""
            text = head + _one(found, wish, rows)
            yield f"{text[0].upper()}{text[1:]}."


def _one(found: Varied, wish: Wish, rows: Sequence[Answer]) -> str:
    over = found.ranges[0]
    rising = all(_only(row, begins=True, ends=False) for row in rows)
    falling = all(_only(row, begins=False, ends=True) for row in rows)
    if rising or falling:
        return _side_by_side(over, wish, rows, rising=rising)
    return ", ".join(_alone(found, wish, row) for row in rows)


def _only(row: Answer, *, begins: bool, ends: bool) -> bool:
    return len(row.met) == 1 and (row.met[0].begins, row.met[0].ends) == (begins, ends)


def _side_by_side(over: Range, wish: Wish, rows: Sequence[Answer], *, rising: bool) -> str:
    """Put the way of binning first that needs least, or holds longest, and measure the others."""
    at = {row.title: row.met[0].low if rising else row.met[0].high for row in rows}
    best, *others = sorted(rows, key=lambda row: at[row.title], reverse=not rising)
    verb = "reaches" if rising else "holds"
    where = "at" if rising else "up to"
    parts = [f"{best.title} {verb} {wish_words(wish)} {where} {_said(over, best, at)}"]
    for row in others:
        ratio = at[row.title] / at[best.title] if at[best.title] else np.nan
        times = f" ({_times(ratio)})" if ratio > 0 else ""
        need = "needs" if rising else "up to"
        parts.append(f"{row.title} {need} {_said(over, row, at)}{times}")
    return ", ".join(parts)


def _times(ratio: float) -> str:
    return f"{short(ratio) if ratio < 1 else f'{ratio:.1f}'} times"


def _said(over: Range, row: Answer, at: dict[str, float]) -> str:
    """Say where a requirement is met, and whether white saturates there already."""
    saturates = "" if row.unsaturated else ", where white saturates"
    return f"{value_words(over, at[row.title])}{saturates}"


def _alone(found: Varied, wish: Wish, row: Answer) -> str:
    """Say where one way of binning meets a requirement."""
    over = found.ranges[0]
    if not row.met:
        return f"{row.title} never reaches {wish_words(wish)} in this range{_best(found, row)}"
    where = " and ".join(_part(over, span) for span in row.met)
    saturates = "" if row.unsaturated else ", but only where white saturates"
    return f"{row.title} meets {wish_words(wish)} {where}{saturates}"


def _part(over: Range, span: Span) -> str:
    low, high = value_words(over, span.low), value_words(over, span.high)
    if span.begins and span.ends:
        return f"from {low} to {high}"
    if not span.begins and not span.ends:
        return f"over the whole range, {low} to {high}"
    return f"from {low} on" if span.begins else f"up to {high}"


def _best(found: Varied, row: Answer) -> str:
    """Say what is reached at best, where the study has the figure of that course."""
    if row.exposure != found.exposure:
        return ""
    course = next(each for each in found.courses if each.title == row.title)
    got = weakest(row.wish.figure, course.figures[row.wish.figure])
    index = int(np.argmax(row.wish.margin(got)))
    if not np.isfinite(got[index]):
        return ""
    place = value_words(found.ranges[0], found.ranges[0].base_values[index])
    return f": at best {short(float(got[index]))}, at {place}"


def _saturation(found: Varied) -> Iterator[str]:
    """Say where white passes its nearest limit, for each way of binning."""
    if len(found.ranges) > 1:
        return
    rows = [
        each
        for each in found.answers
        if each.wish == UNSATURATED and each.exposure == found.exposure
    ]
    if all(_only(row, begins=False, ends=False) for row in rows):
        yield "White does not saturate in this range."
        return
    parts = [f"with {row.title} {_beyond(found.ranges[0], row.met)}" for row in rows]
    yield f"White saturates {', '.join(parts)}."


def _beyond(over: Range, free: tuple[Span, ...]) -> str:
    """Say where white saturates, from where it does not."""
    if len(free) != 1:
        where = " and ".join(_part(over, span) for span in free)
        return f"but {where}" if free else "everywhere in this range"
    low, high = value_words(over, free[0].low), value_words(over, free[0].high)
    parts = (f"below {low}" * free[0].begins, f"above {high}" * free[0].ends)
    return " and ".join(part for part in parts if part) or "nowhere"


def _of_grid(found: Varied) -> Iterator[str]:
    """Say where along the first key a requirement is met, at both ends of the second."""
    over, beside = found.ranges
    for wish in found.wishes:
        for title in [course.title for course in found.courses]:
            every = [each for each in found.answers if (each.wish, each.title) == (wish, title)]
            rows = [every[0], every[-1]]
            parts = [
                f"at {value_words(beside, row.beside or 0.0)} {brief(over, row)}" for row in rows
            ]
            yield f"{title} meets {wish_words(wish)}: {', '.join(parts)}."


def brief(over: Range, row: Answer) -> str:
    """
    Say where a requirement is met, short enough for a cell of a table.

    Parameters
    ----------
    over : Range
        The range.
    row : Answer
        Of one way of binning.

    Returns
    -------
    str
        Such as "from 18.5 klx on".
    """
    if not row.met:
        return "nowhere"
    parts = [_part(over, span).partition(",")[0] for span in row.met]
    return " and ".join(parts) + ("" if row.unsaturated else ", saturated")
