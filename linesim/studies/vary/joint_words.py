"""Where along a range everything holds, in sentences: what is missed below, and above."""

from collections.abc import Iterator

from linesim.report.judged_rows import Outcome
from linesim.studies.batch.ranges import Range
from linesim.studies.vary.answers import Held, Joint
from linesim.studies.vary.labels import (
    held_words,
    missed_words,
    part_words,
    parts_words,
    value_words,
)
from linesim.studies.vary.study import Varied

EXPOSURES = {
    "same": "At the same exposure time",
    "full": "With full exposure, each at its own line rate",
}
"""Whose exposure time binnings take."""
NOWHERE = "nowhere"


def outcomes(found: Varied) -> tuple[Outcome, ...]:
    """Say of each binning, exposed as asked, whether it meets all demands anywhere, and where."""
    return tuple(
        Outcome(state="met" if any(each.held for each in joints) else "missed", text=text)
        for joints, text in zip(_by_curve(found), together(found), strict=True)
        if joints[0].exposure == found.exposure
    )


def limits_words(found: Varied) -> str:
    """Say what ends the parts in which everything holds, the most frequent first."""
    held = [each for joint in found.joints for each in joint.held]
    sides = (("below", [each.below for each in held]), ("above", [each.above for each in held]))
    said = []
    for side, demands in sides:
        texts = [missed_words(each) for each in demands if each is not None]
        most = sorted(set(texts), key=lambda text: (-texts.count(text), text))
        said += [f"{side} these ranges, {' or '.join(most)}"] if most else []
    return f"Limiting factor: {'; '.join(said)}." if said else ""


def together(found: Varied) -> Iterator[str]:
    """Say where all demands are met together, for each binning."""
    several, grid = len(found.curves) > 1, len(found.ranges) > 1
    for joints in _by_curve(found):
        first = joints[0]
        head = f"{EXPOSURES[first.exposure]}, " if several and not grid and first.exposure else ""
        head += f"with {first.title} " if several else ""
        text = f"{head}{_of_rows(found, joints) if grid else _one(found, first)}."
        yield f"{text[0].upper()}{text[1:]}"


def _by_curve(found: Varied) -> list[list[Joint]]:
    rows: dict[tuple[str | None, str], list[Joint]] = {}
    for each in found.joints:
        rows.setdefault((each.exposure, each.title), []).append(each)
    return list(rows.values())


def _everything(found: Varied) -> str:
    """Name all demands; a requirement that is varied itself is none of them."""
    own = any(each.key.section == "requirement" for each in found.ranges)
    return "everything else" if own else "everything"


def _one(found: Varied, joint: Joint) -> str:
    over, what = found.ranges[0], _everything(found)
    if not joint.held:
        return f"no place in this range meets {what}: {_against(found, joint)}"
    return f"{what} holds {' and '.join(_held(over, each) for each in joint.held)}"


def _held(over: Range, held: Held) -> str:
    sides = (("below", held.below), ("above", held.above))
    beyond = [f"{side}, {missed_words(demand)}" for side, demand in sides if demand is not None]
    where = part_words(over, held.span)
    return f"{where}: {'; '.join(beyond)}" if beyond else where


def _against(found: Varied, joint: Joint) -> str:
    """Say of demands that no place meets together where each of them is met."""
    rows = {
        each.demand: each.met
        for each in found.answers
        if (each.title, each.exposure, each.second) == (joint.title, joint.exposure, joint.second)
    }
    said = [
        f"{held_words(demand)} only {parts_words(found.ranges[0], rows[demand])}"
        if rows[demand]
        else f"{missed_words(demand)} everywhere"
        for demand in joint.against
    ]
    return ", but ".join(said)


def _of_rows(found: Varied, joints: list[Joint]) -> str:
    second = found.ranges[1]
    chosen = [joints[0], joints[-1]]
    parts = [
        f"at {value_words(second, each.second or 0.0)} {brief_joint(found, each)}"
        for each in chosen
    ]
    return f"{_everything(found)} holds {', '.join(parts)}"


def brief_joint(found: Varied, joint: Joint) -> str:
    """Say where everything holds, short enough for a cell of a table."""
    over = found.ranges[0]
    parts = [part_words(over, each.span).partition(",")[0] for each in joint.held]
    return " and ".join(parts) or NOWHERE
