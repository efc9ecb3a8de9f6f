"""What a fit says: what is otherwise than set up, what is not told, how captures are met."""

from collections.abc import Iterator, Sequence

from linesim.figures.cautions import Caution
from linesim.figures.plain_numbers import digits, percent
from linesim.figures.safety import MACHINERY, safety_cautions
from linesim.metrics.interval import Interval
from linesim.report.console import listed, paragraph
from linesim.setup.setup import Setup
from linesim.studies.fit.found import Fitted, FoundCapture, FoundKey
from linesim.studies.measure.against.predicted import Prediction
from linesim.studies.measure.lines import caution_lines

_MOST_DIGITS = 7
_BOUND = 0.95
"""Correlation of two errors from which on it is told; our choice."""
_LITTLE = 5e-4
_NOISE = 1.03
"""Misfit up to which what is left counts as noise alone; our choice."""
_SIGMAS = 5.0
_SHARED = 0.02
"""Correlation of neighbours that is worth a word, and in so many standard errors; our choice."""
_COARSE = 0.05
"""Blur by the reference's pixels over that of an object pixel, from which on; our choice."""


def answer(found: Fitted) -> list[str]:
    """Say in short what the captures tell."""
    changes, count = found.changes, len(found.found)
    many = len(found.captures)
    evidence = f"{many} captures tell" if many > 1 else "the capture tells"
    if not count:
        return [f"None of the keys asked for is one that {evidence}."]
    names = listed([each.name for each in changes]) if changes else found.found[0].name
    if count == 1:
        state = "not as set up" if changes else "as set up, within its interval"
        first = f"The one key that {evidence}, {names}, is {state}."
    elif not changes:
        first = f"All {count} keys that {evidence} are as set up, within their intervals."
    else:
        verb = "is" if len(changes) == 1 else "are"
        first = f"Of {count} keys that {evidence}, {len(changes)} {verb} not as set up: {names}."
    return [first, *map(_met, found.captures)]


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


def evidence_of(each: FoundKey) -> str:
    """Say what in the captures tells a key."""
    parts = {"picture": each.by_mean, "noise": each.by_noise, "columns": each.by_columns}
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
            f"{listed(group)} are known together far better than each alone: their errors "
            f"correlate by {_BOUND:g} or more, so that one too high goes with another that makes "
            "up for it."
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


def fit_text(found: Fitted) -> str:
    """Lay a fit out."""
    lines = [f"fit: {found.before.title}"]
    for sentence in answer(found):
        lines += paragraph(sentence, "", "")
    if found.found:
        lines += ["", f"  {'':<27}{'set up':<15}{'fitted':<15}{'95 %':<25}{'change':<11}told by"]
    for each in found.found:
        own = value_text(each.before, each.interval, each.unit)
        value = value_text(each.interval.value, each.interval, each.unit)
        lines.append(
            f"  {each.name:<27}{own:<15}{value:<15}{interval_text(each):<25}"
            f"{change_text(each):<11}{evidence_of(each)}"
        )
    said = (*left_lines(found), *bound(found), *place_lines(found))
    for sentence in said:
        lines += ["", *paragraph(sentence, "", "")]
    return "\n".join([*lines, *caution_lines(found.cautions, MACHINERY)])


def fit_cautions(
    setup: Setup, own: Prediction, captures: Sequence[FoundCapture], *, settled: bool
) -> tuple[Caution, ...]:
    """Say what to mind."""
    said = [
        *_structure(captures),
        *_coarse(own),
        *([] if settled else [_restless()]),
        *(Caution(code, text) for code, text in safety_cautions(setup)),
    ]
    return tuple(said)


def _structure(captures: Sequence[FoundCapture]) -> Iterator[Caution]:
    for each in captures:
        error = (each.lines * each.columns) ** -0.5
        most = max(each.neighbours, key=abs)
        if abs(most) > max(_SHARED, _SIGMAS * error):
            yield Caution(
                "structure_left",
                f"{each.name}: what the fitted setup leaves is not noise alone; neighbours "
                f"correlate by {most:+.2f}. Something is in the picture that the model does "
                "not have (dirt, another sample of the target, interpolation); the figures of "
                "noise, and gain with them, take it for noise, and intervals are too narrow.",
            )


def _coarse(own: Prediction) -> Iterator[Caution]:
    """Squares of means, taken as even squares, lose sinc² twice: p²/6 of variance."""
    side_um, pitch_um = own.sides_um[1], own.reference.pixel_size_um
    blur_um = pitch_um / 6**0.5
    if blur_um > _COARSE * side_um:
        at_sensor_um = blur_um * float(own.numbers.geometry.magnification)
        yield Caution(
            "reference_blurs",
            f"The target's own pixels of {pitch_um:.3g} um blur as {at_sensor_um:.2g} um at "
            "the sensor would; a blur that was fitted is short of the lens's by that much, as "
            "the root of the squares. It is right for this image of the target.",
        )


def _restless() -> Caution:
    return Caution(
        "not_settled",
        "The fit did not come to rest; its values are the likeliest found so far. Fit fewer "
        "keys, or start from a setup that is nearer.",
    )
