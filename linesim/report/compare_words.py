"""What a comparison says, in sentences."""

import re
from collections.abc import Mapping

from linesim.budget.case import values
from linesim.study.compare import Compared, Comparison

_SAME = 0.005
"""Ratios closer than this to 1 are told as the same; our choice."""
_OVERLAP = 1.005
_GAP = 0.995
_MANY = 100
_ROUGH = 0.25
_SMALLEST = "smallest_detectable_um"
_MODE = re.compile(r"\dx\d( \w+)?")


def answer(found: Comparison) -> tuple[str, ...]:
    """
    Say what each variant gains and costs against the first, and which meet what is asked.

    Parameters
    ----------
    found : Comparison
        Figures of all variants.

    Returns
    -------
    tuple of str
        Sentences, the conclusion last.
    """
    first, *others = found.variants
    return (*(_against(first, one) for one in others), _conclusion(found))


def _figure(one: Compared, group: str, name: str) -> float:
    """Give one figure, of several colours the weakest."""
    return min(values(one.scan.budget[group][name]))


def _against(first: Compared, one: Compared) -> str:
    told = (_light, _pixels, _found, _rate)
    parts = [*(tell(first, one) for tell in told), _clipped(one)]
    return "; ".join(part for part in parts if part) + "."


def _name(one: Compared) -> str:
    """Set off a title that would not read well in a sentence."""
    return one.title if _MODE.fullmatch(one.title) else f'"{one.title}"'


def _light(first: Compared, one: Compared) -> str:
    """Say how much light is gained, and how much of it by a longer exposure."""
    base_e, gained_e = (_figure(each, "signal", "electrons_white") for each in (first, one))
    base_us, gained_us = (_figure(each, "exposure", "exposure_us") for each in (first, one))
    if base_e <= 0:
        return f"{_name(one)} and {_name(first)} cannot be set against each other without light"
    ratio, longer = gained_e / base_e, gained_us / base_us
    snr = _figure(one, "signal", "snr_white") / _figure(first, "signal", "snr_white")
    same = abs(longer - 1) <= _SAME
    lead = "At the same exposure" if same else f"Exposed {gained_us:.4g} us, not {base_us:.4g} us"
    inner = "" if same else f" ({_times(ratio / longer) or 'as many '}at the same exposure)"
    coloured = isinstance(one.scan.budget["signal"]["snr_white"], Mapping)
    return (
        f"{lead}, {_name(one)} has {_times(ratio)}the electrons{inner} and {_times(snr)}the SNR "
        f"of {_name(first)}{', in the weakest colour' if coloured else ''}"
    )


def _times(ratio: float) -> str:
    """Write a factor with a blank behind; nothing for what is next to 1."""
    if abs(ratio - 1) <= _SAME:
        return ""
    if ratio >= _MANY:
        return f"{ratio:.0f} times "
    return f"{ratio:.1f} times " if ratio > 1 + _ROUGH else f"{ratio:.2f} times "


def _pixels(first: Compared, one: Compared) -> str:
    sides = [
        " x ".join(f"{_figure(each, 'geometry', f'object_pixel_{axis}_um'):.4g}" for axis in "xy")
        for each in (one, first)
    ]
    if sides[0] == sides[1]:
        return "the object pixel stays"
    return f"its object pixel is {sides[0]} um, not {sides[1]} um"


def _found(first: Compared, one: Compared) -> str:
    """Say which defects are found, where that can be told of both."""
    if not all(_SMALLEST in each.scan.budget["detection"] for each in (one, first)):
        return ""
    smallest, before = (f"{_smallest_um(each):.3g} um" for each in (one, first))
    if smallest == before:
        return f"the smallest disc it finds stays {smallest}"
    return f"the smallest disc it finds is {smallest}, not {before}"


def _rate(first: Compared, one: Compared) -> str:
    rate, before = (f"{_figure(each, 'geometry', 'line_rate_hz'):.5g}" for each in (one, first))
    said = "at the same line rate" if rate == before else f"at {rate} lines/s, not {before}"
    coverage = _figure(one, "geometry", "coverage")
    if coverage > _OVERLAP:
        return f"{said}, where its lines overlap: each strip is seen {coverage:.3g} times"
    if coverage < _GAP:
        return f"{said}, where its lines leave gaps: {coverage:.0%} of the target is seen"
    return said


def _clips(one: Compared) -> bool:
    return max(values(one.scan.budget["signal"]["saturation_white"])) > 1


def _clipped(one: Compared) -> str:
    """Say so where figures of the linear model are more than the camera can deliver."""
    share = max(values(one.scan.budget["signal"]["saturation_white"]))
    return f"but its white clips, for it asks for {share:.3g} times the limit" if share > 1 else ""


def _conclusion(found: Comparison) -> str:
    if not any(one.verdicts for one in found.variants):
        return f"Nothing is required, so none is judged; {_best(found.variants)}."
    meeting = tuple(one for one in found.variants if one.meets_all)
    if not meeting:
        near = max(found.variants, key=_worst_margin)
        missed = [verdict.requirement for verdict in near.verdicts if not verdict.met]
        return (
            f"None meets every requirement; nearest is {_name(near)}, which misses {_and(missed)}."
        )
    if len(meeting) == 1:
        return f"Only {_name(meeting[0])} meets every requirement."
    all_do = len(meeting) == len(found.variants)
    who = "All variants" if all_do else _and([_name(one) for one in meeting])
    return f"{who} meet every requirement; of them {_best(meeting)}."


def _worst_margin(one: Compared) -> float:
    return min((verdict.margin for verdict in one.verdicts), default=0.0)


def _best(variants: tuple[Compared, ...]) -> str:
    """Name the highest SNR and the smallest disc found; what clips only if all do."""
    variants = tuple(one for one in variants if not _clips(one)) or variants
    snr = _leaders(variants, [_figure(one, "signal", "snr_white") for one in variants])
    said = f"{_and(snr)} {_verb(snr, 'has', 'have')} the highest SNR on white"
    if not all(_SMALLEST in one.scan.budget["detection"] for one in variants):
        return said
    disc = _leaders(variants, [-_smallest_um(one) for one in variants])
    link = " and" if disc == snr else f", and {_and(disc)}"
    return f"{said}{link} {_verb(disc, 'finds', 'find')} the smallest disc"


def _leaders(variants: tuple[Compared, ...], worth: list[float]) -> list[str]:
    """Name those that are best, and all that come next to it."""
    best = max(worth)
    return [
        _name(one)
        for one, each in zip(variants, worth, strict=True)
        if best - each <= _SAME * abs(best)
    ]


def _verb(names: list[str], of_one: str, of_many: str) -> str:
    return of_one if len(names) == 1 else of_many


def _smallest_um(one: Compared) -> float:
    return max(values(one.scan.budget["detection"][_SMALLEST]))


def _and(words: list[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last
