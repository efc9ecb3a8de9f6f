"""What a comparison says, in sentences."""

import re
from collections.abc import Mapping
from math import inf

from linesim.figures.case import values
from linesim.figures.plain_numbers import digits, percent, rate
from linesim.figures.verdicts import worst_state
from linesim.report.console import listed
from linesim.report.verdict_words import name_of
from linesim.studies.compare.light_words import (
    fault_of,
    fault_words,
    moves_lamps,
    narrowest_um,
    over_noise,
)
from linesim.studies.compare.study import Compared, Comparison

_SAME = 0.005
"""Ratios closer than this to 1 count as the same; our choice."""
_OVERLAP = 1.005
_GAP = 0.995
_NOTHING = 1e-3
_TENS = 9.95
"""Two digits are enough below ten, but for what is next to 1."""
_ROUGH = 0.25
_SMALLEST = "smallest_detectable_um"
_MODE = re.compile(r"\dx\d( \w+)?")


def answer(found: Comparison) -> tuple[str, ...]:
    """Say what each variant gains and costs against the first, and which meet what is asked."""
    first, *others = found.variants
    return (*(_against(first, one) for one in others), _conclusion(found))


def _figure(one: Compared, group: str, name: str) -> float:
    """Give one figure, of several colours the weakest."""
    return min(values(one.scan.budget[group][name]))


def _against(first: Compared, one: Compared) -> str:
    parts_of = (_light, _found) if _is_relit(first, one) else (_light, _pixels, _found, _rate)
    parts = [*(part(first, one) for part in parts_of), _able(one)]
    return "; ".join(part for part in parts if part) + "."


def _is_relit(first: Compared, one: Compared) -> bool:
    """Tell whether lamps stand elsewhere, and all that samples the target is alike."""
    sides = ("object_pixel_x_um", "object_pixel_y_um", "line_rate_hz")
    alike = all(_figure(first, "geometry", n) == _figure(one, "geometry", n) for n in sides)
    return alike and moves_lamps(first, one)


def _name(one: Compared) -> str:
    """Set off a title that would not read well in a sentence."""
    return one.title if _MODE.fullmatch(one.title) else f'"{one.title}"'


def _light(first: Compared, one: Compared) -> str:
    """Say how much light is gained, and how much of it by a longer exposure."""
    base_e, gained_e = (_figure(each, "signal", "electrons_white") for each in (first, one))
    base_us, gained_us = (_figure(each, "exposure", "exposure_us") for each in (first, one))
    if base_e <= 0:
        return f"{_name(one)} and {_name(first)} cannot be set against each other without light"
    base_snr, snr = (_figure(each, "signal", "snr_product") for each in (first, one))
    if base_snr <= 0:
        return f"{_name(first)} shows none of the product, {_name(one)} at SNR {digits(snr)}"
    if snr <= 0:
        return f"{_name(one)} shows none of the product, {_name(first)} at SNR {digits(base_snr)}"
    ratio, longer, snr = gained_e / base_e, gained_us / base_us, snr / base_snr
    if moves_lamps(first, one):
        # white is as bright wherever the lamp stands, a face that mirrors is not
        ratio = _figure(one, "signal", "electrons_product")
        ratio /= _figure(first, "signal", "electrons_product")
    same = abs(longer - 1) <= _SAME
    lead = "At the same exposure" if same else f"Exposed {gained_us:.4g} us, not {base_us:.4g} us"
    inner = "" if same else f" ({_times(ratio / longer) or 'as many '}at the same exposure)"
    coloured = isinstance(one.scan.budget["signal"]["snr_white"], Mapping)
    return (
        f"{lead}, {_name(one)} has {_times(ratio)}the electrons{inner} and {_times(snr)}the SNR "
        f"on the product of {_name(first)}{', in the weakest colour' if coloured else ''}"
    )


def _times(ratio: float) -> str:
    """Write a factor with a blank behind; nothing for what is next to 1."""
    if abs(ratio - 1) <= _SAME:
        return ""
    if ratio < _NOTHING:
        return "next to nothing of "
    return f"{digits(ratio, 2 if 1 + _ROUGH < ratio < _TENS else 3)} times "


def _pixels(first: Compared, one: Compared) -> str:
    sides = [
        " x ".join(f"{_figure(each, 'geometry', f'object_pixel_{axis}_um'):.4g}" for axis in "xy")
        for each in (one, first)
    ]
    if sides[0] == sides[1]:
        return "the object pixel stays"
    return f"its object pixel is {sides[0]} um, not {sides[1]} um"


def _found(first: Compared, one: Compared) -> str:
    """Say which defects are found, where that is known of both."""
    if fault_of(one) and fault_of(one) == fault_of(first):
        return fault_words(first, one)
    if not all(_SMALLEST in each.scan.budget["detection"] for each in (one, first)):
        return ""
    smallest, before = (f"{_smallest_um(each):.3g} um" for each in (one, first))
    if smallest == before:
        return f"the smallest disc it finds stays {smallest}"
    return f"the smallest disc it finds is {smallest}, not {before}"


def _rate(first: Compared, one: Compared) -> str:
    now, before = (rate(_figure(each, "geometry", "line_rate_hz"), 4) for each in (one, first))
    said = "at the same line rate" if now == before else f"at {now}, not {before}"
    coverage = _figure(one, "geometry", "coverage")
    if coverage > _OVERLAP:
        return f"{said}, where its lines overlap: each strip is seen {coverage:.3g} times"
    if coverage < _GAP:
        return f"{said}, where its lines leave gaps: {percent(coverage, 2)} of the target is seen"
    return said


def _able(one: Compared) -> str:
    """Say so where its figures are more than the station can deliver, or than its picture shows."""
    if worst_state(one.verdicts) == "cannot run":
        return "but it cannot run as it stands"
    able = ("line_rate", "link", "exposure", "clipping")
    clear = all(each.met for each in one.verdicts if each.requirement in able)
    return "" if clear else "but its picture clips"


def _conclusion(found: Comparison) -> str:
    """Say which meet what is asked; never that all do where one cannot run, clips or misses."""
    variants = found.variants
    meeting = tuple(one for one in variants if one.meets_all)
    if not meeting:
        return _none_meets(variants)
    setup = variants[0].scan.setup
    asked = setup.smallest_defect_um is not None or setup.requirement.snr is not None
    what = ("meets", "meet", "every requirement") if asked else ("runs", "run", "without clipping")
    alone = len(meeting) == 1
    who = f"Only {_name(meeting[0])}" if alone else listed([_name(one) for one in meeting])
    if len(meeting) == len(variants):
        who = "All variants"
    said = f"{who} {what[0] if alone else what[1]} {what[2]}{_left_out(variants)}"
    said = said if asked else f"Nothing is required. {said}"
    return f"{said}." if alone else f"{said}; of them {_best(meeting)}."


def _left_out(variants: tuple[Compared, ...]) -> str:
    """Name those that cannot run."""
    stuck = [_name(one) for one in variants if worst_state(one.verdicts) == "cannot run"]
    return f"; {listed(stuck)} cannot run" if stuck else ""


def _none_meets(variants: tuple[Compared, ...]) -> str:
    running = tuple(one for one in variants if worst_state(one.verdicts) != "cannot run")
    if not running:
        return "None of them can run as it stands."
    near = max(running, key=lambda one: min((each.margin for each in one.verdicts), default=0.0))
    setup = near.scan.setup
    missed = [name_of(setup, each.requirement) for each in near.verdicts if not each.met]
    return (
        f"None meets every requirement; nearest is {_name(near)}, which misses: {listed(missed)}"
        f"{_left_out(variants)}."
    )


def _best(variants: tuple[Compared, ...]) -> str:
    """Name the highest SNR and the smallest disc found, among those that meet all."""
    if all(fault_of(one) for one in variants):
        return _best_shown(variants)
    snr = _leaders(variants, [_figure(one, "signal", "snr_product") for one in variants])
    said = f"{listed(snr)} {_verb(snr, 'has', 'have')} the highest SNR on the product"
    if not all(_SMALLEST in one.scan.budget["detection"] for one in variants):
        return said
    disc = _leaders(variants, [-_smallest_um(one) for one in variants])
    link = " and" if disc == snr else f", and {listed(disc)}"
    return f"{said}{link} {_verb(disc, 'finds', 'find')} the smallest disc"


def _best_shown(variants: tuple[Compared, ...]) -> str:
    """Name those that show a fault with relief most, and find the narrowest."""
    kind = fault_of(variants[0])
    shown = _leaders(variants, [over_noise(one) for one in variants])
    narrow = _leaders(variants, [-(narrowest_um(one) or inf) for one in variants])
    link = " and" if narrow == shown else f", and {listed(narrow)}"
    return (
        f"{listed(shown)} {_verb(shown, 'shows', 'show')} the {kind} most against the noise{link} "
        f"{_verb(narrow, 'finds', 'find')} the narrowest"
    )


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
