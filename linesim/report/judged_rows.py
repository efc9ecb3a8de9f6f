"""The verdicts of a budget as rows of a table, and what comes of them in one sentence."""

from dataclasses import dataclass

from linesim.figures.budget import Budget
from linesim.figures.verdicts import State, worst_state
from linesim.report.verdict_words import got_and_wanted, name_of, place_of, spare, summary
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One requirement, in words."""

    label: str
    text: str
    margin: str
    state: State


def judged_rows(setup: Setup, found: Budget) -> tuple[Judged, ...]:
    """Put the verdicts of a budget into words."""
    return tuple(
        Judged(
            label=", ".join(
                filter(None, (name_of(setup, each.requirement), place_of(setup, each)))
            ),
            text=got_and_wanted(setup, each),
            margin=spare(setup, each),
            state=each.state,
        )
        for each in found.verdicts
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What comes of a station, in one sentence."""

    state: State
    title: str = ""
    text: str


def outcome(setup: Setup, found: Budget, title: str = "") -> Outcome:
    """Say in one sentence what comes of a station, by its title where a page has several."""
    said = summary(setup, found.verdicts)
    return Outcome(state=worst_state(found.verdicts), title=title, text=said)
