"""What a fit says: what is otherwise than set up, what is not told, how captures are met."""

from collections.abc import Iterator

from linesim.figures.plain_numbers import digits, percent
from linesim.metrics.interval import Interval
from linesim.studies.fit.found import Fitted, FoundCapture, FoundKey

_MOST_DIGITS = 7
_BOUND = 0.95
"""Correlation of two errors from which on it is told; our choice."""
_LITTLE = 5e-4
_NOISE = 1.03
"""Misfit up to which what is left counts as noise alone; our choice."""


def answer(found: Fitted) -> list[str]:
    """Say in short what the captures tell."""
    changes, count = found.changes, len(found.found)
    many = len(found.captures)
    told = f"{many} captures tell" if many > 1 else "the capture tells"
    if not count:
        return [f"None of the keys asked for is one that {told}."]
    if not changes:
        first = f"All {count} keys that {told} are as set up, within their intervals."
    else:
        names = _listed([each.name for each in changes])
        verb = "is" if len(changes) == 1 else "are"
        first = f"Of {count} keys that {told}, {len(changes)} {verb} not as set up: {names}."
    return [first, *map(_met, found.captures)]


def _listed(names: list[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _met(each: FoundCapture) -> str:
    before, after = each.misfit
    own = "noise alone" if after < _NOISE else "more than noise"
    return (
        f"{each.name}: the setup left {digits(before)} times the noise between prediction and "
        f"capture, the fitted one leaves {digits(after)} times: {own}."
    )


def value_text(value: float, seen: Interval, unit: str) -> str:
    """Write a value to the digits that its interval leaves certain."""
    width = (seen.high - seen.low) / 2
    count = 3
    while count < _MOST_DIGITS and abs(float(f"{value:.{count}g}") - value) > width / 10:
        count += 1
    return f"{digits(value, count)} {unit}".rstrip()


def interval_text(each: FoundKey) -> str:
    """Write the interval of a key."""
    seen = each.interval
    return f"{value_text(seen.low, seen, '')} to {value_text(seen.high, seen, each.unit)}"


def change_text(each: FoundKey) -> str:
    """Say how a key differs from the setup."""
    if each.is_as_set_up:
        return "as set up"
    if each.before == 0 or each.interval.value == 0:
        return "changed"
    return f"{100 * (each.interval.value / each.before - 1):+.3g} %"


def told_by(each: FoundKey) -> str:
    """Say what in the captures tells a key."""
    parts = {
        "picture": each.by_mean,
        "noise": each.by_noise,
        "columns": each.by_columns,
    }
    if each.name.startswith("transport."):
        return "places of lines"
    said = sorted(parts.items(), key=lambda part: -part[1])
    return ", ".join(f"{name} {percent(share, 2)}" for name, share in said if share > _LITTLE * 10)


def bound(found: Fitted) -> Iterator[str]:
    """Name keys whose errors go together."""
    groups: list[list[str]] = []
    for pair, value in found.correlations.items():
        if abs(value) < _BOUND:
            continue
        joined = [group for group in groups if set(group) & set(pair)]
        rest = [group for group in groups if group not in joined]
        together = [name for group in joined for name in group]
        groups = [*rest, list(dict.fromkeys([*together, *pair]))]
    for group in groups:
        yield (
            f"{_listed(group)} are bound: their errors correlate by {_BOUND:g} and more, and the "
            "captures tell what they make together far better than each alone."
        )


def left_lines(found: Fitted) -> Iterator[str]:
    """Say why keys are left as the setup has them."""
    for each in found.left:
        yield f"{each.name} stays as set up: {each.why}."


def place_lines(found: Fitted) -> Iterator[str]:
    """Say where captures lie in what the fitted setup delivers."""
    for each in found.captures:
        steps = each.lies.steps
        mirrored = "" if each.mirrored == "no" else f", mirrored {each.mirrored}"
        strays = f", lines stray by {digits(each.strays_px)} px rms" if each.strays_px > 0 else ""
        yield (
            f"{each.name}: {steps.along:+.2f} lines, {steps.across:+.2f} columns, scale across "
            f"{1 + steps.grow_across:.5f}{mirrored}{strays}; {each.lines} lines x {each.columns} "
            "columns fitted."
        )
