"""A range of speeds at which a station is to work: two keys, or one text with both ends."""

from collections.abc import Iterator, Mapping
from typing import Any

from linesim.setup.quantity import parse_quantity
from linesim.setup.setup import Setup
from linesim.setup.shown import shown

BETWEEN = ":"
"""What stands between the slowest and the fastest speed."""
SPEED, SLOWEST = "transport.speed", "transport.slowest_speed"


def ends_of(speed: object) -> tuple[str, str] | None:
    """Take a range of speeds apart."""
    if not isinstance(speed, str) or BETWEEN not in speed:
        return None
    one, _, other = speed.partition(BETWEEN)
    return one.strip(), other.strip()


def with_both_speeds(
    texts: Mapping[str, Any],
) -> tuple[Mapping[str, Any], dict[str, str], tuple[str, ...]]:
    """Give both ends of a range of speeds a key of their own; faults where one stands twice."""
    table = texts.get("transport")
    text = table.get("speed") if isinstance(table, Mapping) else None
    ends = ends_of(text)
    if not isinstance(table, Mapping) or ends is None:
        return texts, {}, ()
    slowest, fastest = _in_order(*ends)
    faults: tuple[str, ...] = ()
    if table.get("slowest_speed") is not None:
        faults = (
            (
                f"{SPEED}, {SLOWEST}: read {shown(text)} and {shown(table['slowest_speed'])}, but "
                "both name the slowest speed; leave one out"
            ),
        )
    both = {**table, "slowest_speed": slowest, "speed": fastest}
    return {**texts, "transport": both}, {SLOWEST: SPEED}, faults


def _in_order(one: str, other: str) -> tuple[str, str]:
    """Put the slower first; what cannot be read is left for the check to refuse."""
    try:
        swap = parse_quantity(one, "mm/s") > parse_quantity(other, "mm/s")
    except ValueError:
        return one, other
    return (other, one) if swap else (one, other)


def at_slowest(setup: Setup) -> Setup | None:
    """Give a station as it runs at its slowest speed; None where it has one speed."""
    slowest_mm_s = setup.transport.slowest_speed_mm_s
    if slowest_mm_s is None:
        return None
    update = {"speed_mm_s": slowest_mm_s, "slowest_speed_mm_s": None}
    moves = setup.transport.model_copy(update=update)
    table = dict(setup.texts["transport"])
    table["speed"] = table.pop("slowest_speed")
    return Setup(
        sections=setup.sections.model_copy(update={"transport": moves}),
        texts={**setup.texts, "transport": table},
        folder=setup.folder,
    )


def slowest_is_slower(setup: Setup) -> Iterator[str]:
    """Find a slowest speed above the fastest."""
    moves, texts = setup.transport, setup.texts.get("transport", {})
    if moves.slowest_speed_mm_s is not None and moves.slowest_speed_mm_s > moves.speed_mm_s:
        yield (
            f"{SLOWEST}: read {shown(texts.get('slowest_speed'))}, but {SPEED} is "
            f"{shown(texts.get('speed'))}; expected a speed no faster than that"
        )


def one_speed(setup: Setup, study: str, chosen: Mapping[str, object]) -> Iterator[str]:
    """Find a range of speeds where a study judges one, with what the study changes."""
    own = None if SPEED in chosen else setup.texts["transport"].get("slowest_speed")
    read = chosen.get(SLOWEST, own)
    if read is not None:
        yield (
            f"{SLOWEST}: read {shown(read)}, but {study} judges one speed at a time; expected none "
            f"of it, and values of {SPEED}"
        )
