"""Where along a range everything holds, in sentences: what is missed below, and above."""

from collections.abc import Iterator

from linesim.report.vary_labels import held_words, missed_words, value_words
from linesim.report.vary_parts import EXPOSURES, part_words, parts_words
from linesim.study.answers import Held, Joint
from linesim.study.ranges import Range
from linesim.study.vary import Varied

NOWHERE = "nowhere"


def together(found: Varied) -> Iterator[str]:
    """
    Say where all demands are met together, for each way of binning.

    Parameters
    ----------
    found : Varied
        The study.

    Yields
    ------
    str
        A sentence each; with two keys for the first and the last value of the second.
    """
    several, grid = len(found.courses) > 1, len(found.ranges) > 1
    for joints in _by_course(found):
        first = joints[0]
        head = f"{EXPOSURES[first.exposure]}, " if several and not grid and first.exposure else ""
        head += f"with {first.title} " if several else ""
        text = f"{head}{_of_rows(found, joints) if grid else _one(found, first)}."
        yield f"{text[0].upper()}{text[1:]}"


def _by_course(found: Varied) -> list[list[Joint]]:
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
    beyond = [f"{side}, {missed_words(wish)}" for side, wish in sides if wish is not None]
    where = part_words(over, held.span)
    return f"{where}: {'; '.join(beyond)}" if beyond else where


def _against(found: Varied, joint: Joint) -> str:
    """Say of demands that no place meets together where each of them is met."""
    rows = {
        each.wish: each.met
        for each in found.answers
        if (each.title, each.exposure, each.beside) == (joint.title, joint.exposure, joint.beside)
    }
    said = [
        f"{held_words(wish)} only {parts_words(found.ranges[0], rows[wish])}"
        if rows[wish]
        else f"{missed_words(wish)} everywhere"
        for wish in joint.against
    ]
    return ", but ".join(said)


def _of_rows(found: Varied, joints: list[Joint]) -> str:
    beside = found.ranges[1]
    chosen = [joints[0], joints[-1]]
    parts = [
        f"at {value_words(beside, each.beside or 0.0)} {brief_joint(found, each)}"
        for each in chosen
    ]
    return f"{_everything(found)} holds {', '.join(parts)}"


def brief_joint(found: Varied, joint: Joint) -> str:
    """
    Say where everything holds, short enough for a cell of a table.

    Parameters
    ----------
    found : Varied
        The study.
    joint : Joint
        Of one way of binning.

    Returns
    -------
    str
        Such as "from 18.5 klx on".
    """
    over = found.ranges[0]
    parts = [part_words(over, each.span).partition(",")[0] for each in joint.held]
    return " and ".join(parts) or NOWHERE
