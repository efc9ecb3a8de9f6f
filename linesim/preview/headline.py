"""One sentence for the top of the page: whether the station does its job, and what limits it."""

from collections.abc import Sequence
from typing import Any

from linesim.figures.budget import Budget
from linesim.figures.case import values
from linesim.figures.demands import NEVER
from linesim.figures.plain_numbers import digits, ratio_words
from linesim.figures.verdicts import Verdict, worst_state
from linesim.report.judged_rows import judged_rows
from linesim.report.verdict_words import (
    OF_THE_STATION,
    clause,
    got_and_wanted,
    name_of,
    place_of,
    spare,
)
from linesim.setup.setup import Setup

_WORDS = {"met": "Works", "missed": "Misses", "cannot run": "Cannot run"}
_NEVER_NONE = 1e-12


def limiting(verdicts: Sequence[Verdict]) -> Verdict:
    """
    Give the verdict that decides: of the worst state, the one that is missed by most.

    Where all are met it is the closest to its limit. An exposure of all the period has none to
    spare, and means to.
    """
    worst = worst_state(verdicts)
    found = [each for each in verdicts if each.state == worst]
    if worst == "met":
        asked = [each for each in found if each.requirement != "exposure"]
        found = asked or found
    return min(found, key=_left)


def _left(verdict: Verdict) -> float:
    """Share by which it is passed; of a rate of finds, by which fewer are lost than may be."""
    if verdict.requirement != "detection_rate":
        return verdict.margin
    return (1 - verdict.wanted) / max(1 - verdict.got, _NEVER_NONE) - 1


def headline(setup: Setup, found: Budget) -> dict[str, Any]:
    """Say in one sentence what comes of a station, and name what limits it."""
    state, one = worst_state(found.verdicts), limiting(found.verdicts)
    text = _met(setup, found, one) if state == "met" else f"{_plain(setup, one)}."
    others = sum(not each.met for each in found.verdicts) - (not one.met)
    return {
        "state": state,
        "word": _WORDS[state],
        "text": text,
        "besides": f"{others} more not met, below." if others > 0 else "",
    }


def _met(setup: Setup, found: Budget, one: Verdict) -> str:
    asked = [each for each in found.verdicts if each.requirement not in OF_THE_STATION]
    place = place_of(setup, one)
    name = name_of(setup, one.requirement) + (f" ({place})" if place else "")
    closest = f"closest to its limit is {name}: {_said(setup, one)}, {spare(setup, one)}."
    return closest if asked else f"{_found(found)}; {closest}"


def _found(found: Budget) -> str:
    """Say what would be found where nothing is asked for."""
    size_um = found_um(found)
    if size_um is None:
        return "nothing is asked for"
    return f"finds discs from {digits(size_um, 3)} um, none asked for"


def found_um(found: Budget) -> float | None:
    """Give the smallest disc that is found, of several colours by the weakest. [µm]."""
    sizes_um = found["detection"].get("smallest_detectable_um")
    return None if sizes_um is None else max(values(sizes_um))


def _said(setup: Setup, verdict: Verdict) -> str:
    """Say what is reached and asked; of clipping, how often the limit would have to be there."""
    text = got_and_wanted(setup, verdict)
    if verdict.requirement != "clipping" or verdict.met or verdict.got == NEVER:
        return text
    level, _, rest = text.rpartition(" takes ")
    limit = rest.partition(" of ")[2]
    return f"{level} needs {ratio_words(verdict.got)} {limit}: clipped"


def _plain(setup: Setup, verdict: Verdict) -> str:
    text = clause(setup, verdict)
    if verdict.requirement == "clipping":
        text = text.replace(got_and_wanted(setup, verdict), _said(setup, verdict), 1)
        return text.replace("the picture clips: ", "", 1)
    return text


def judged_words(setup: Setup, found: Budget) -> list[dict[str, str]]:
    """Put all verdicts into words, for the list below."""
    return [
        {
            "label": row.label,
            "text": _said(setup, verdict),
            "margin": row.margin,
            "state": row.state,
            "requirement": verdict.requirement,
        }
        for row, verdict in zip(judged_rows(setup, found), found.verdicts, strict=True)
    ]
