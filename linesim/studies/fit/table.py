"""A fit for the console."""

import textwrap

from linesim.figures.safety import MACHINERY
from linesim.studies.fit.found import Fitted
from linesim.studies.fit.words import (
    answer,
    bound,
    change_text,
    interval_text,
    left_lines,
    place_lines,
    told_by,
    value_text,
)
from linesim.studies.measure.lines import caution_lines

_WIDTH = 100


def fit_text(found: Fitted) -> str:
    """Lay a fit out."""
    lines = [f"fit: {found.before.title}"]
    for sentence in answer(found):
        lines += textwrap.wrap(sentence, _WIDTH)
    if found.found:
        lines += ["", f"  {'':<27}{'set up':<15}{'fitted':<15}{'95 %':<25}{'change':<11}told by"]
    for each in found.found:
        own = value_text(each.before, each.interval, each.unit)
        value = value_text(each.interval.value, each.interval, each.unit)
        lines.append(
            f"  {each.name:<27}{own:<15}{value:<15}{interval_text(each):<25}"
            f"{change_text(each):<11}{told_by(each)}"
        )
    said = (*left_lines(found), *bound(found), *place_lines(found))
    for sentence in said:
        lines += ["", *textwrap.wrap(sentence, _WIDTH)]
    return "\n".join([*lines, *caution_lines(found.cautions, MACHINERY)])
