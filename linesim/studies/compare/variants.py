"""
How variants of a setup are made: binning modes, changed keys, other files, all on one strip.

A variant keeps the line rate in step with its own rows: "matched" and "square" are worked out
anew, a rate in Hz is divided by the rows it joins. All variants see the same length of target, so
that twice as tall lines are half as many.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from linesim.forward.station import Station, station
from linesim.setup.errors import InputError, refuse
from linesim.setup.load import changed, load_setup
from linesim.setup.relations import BUILT_IN
from linesim.setup.resolve import relative_to
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.studies.compare.set_texts import changes_of, changes_title

BINNINGS = ("1x1", "2x1", "1x2", "2x2")
"""What is compared where nothing is asked for, across x along."""
EXPOSURES = ("same", "full")
"""The first variant's time for all, or each its whole line period."""
_STRIP_KEYS = ("acquisition.lines", "acquisition.length")
Given = TypeVar("Given")


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """A station set up in one of several manners."""

    title: str  # a few words that tell it from the others
    setup: Setup


def binning_variants(
    setup: Setup, texts: Sequence[str], *, exposure: str | None = None, keep_line_rate: bool = False
) -> tuple[Variant, ...]:
    """Make a variant for each binning, such as "2x1", across x along; a domain may follow."""
    made = each_made(texts, lambda text: _binned(setup, text))
    return alike(setup, made, exposure=exposure, keep_line_rate=keep_line_rate)


def set_variants(
    setup: Setup, texts: Sequence[str], *, exposure: str | None = None, keep_line_rate: bool = False
) -> tuple[Variant, ...]:
    """Make a variant for each set of changed keys, behind the setup as it is."""
    made = (
        Variant(title="as it is", setup=setup),
        *each_made(texts, lambda text: _set(setup, text)),
    )
    return alike(setup, made, exposure=exposure, keep_line_rate=keep_line_rate)


def file_variants(
    paths: Sequence[Path], *, exposure: str | None = None, keep_line_rate: bool = False
) -> tuple[Variant, ...]:
    """Make a variant of each setup file, on the strip of the first."""
    stems = [path.stem for path in paths]
    plain = len(set(stems)) == len(stems)
    names = stems if plain else [path.as_posix() for path in paths]
    found = dict(zip(names, paths, strict=True))
    made = each_made(names, lambda name: Variant(title=name, setup=load_setup(found[name])))
    return alike(made[0].setup, made, exposure=exposure, keep_line_rate=keep_line_rate)


def alike(
    setup: Setup,
    variants: Sequence[Variant],
    *,
    exposure: str | None = None,
    keep_line_rate: bool = False,
) -> tuple[Variant, ...]:
    """Give variants one strip of one target, and line rate and exposure as asked."""
    if exposure not in (None, *EXPOSURES):
        words = " or ".join(f'"{word}"' for word in EXPOSURES)
        refuse(f"exposure: read {shown(exposure)}, but expected {words}, or nothing")
    _refuse_twins(variants)
    _refuse_other_targets(variants)
    length = _strip(setup)
    made = each_made(variants, lambda one: _changed(one, {**dict.fromkeys(_STRIP_KEYS), **length}))
    if keep_line_rate:
        rate_hz = float(_running(made[0]).timing.exposed_rate_hz)
        made = each_made(made, lambda one: _changed(one, _at_rate(one.setup, rate_hz)))
    if exposure is None:
        return made
    time = "full" if exposure == "full" else f"{float(_running(made[0]).timing.exposure_us)!r} us"
    return each_made(made, lambda one: _changed(one, {"acquisition.exposure": time}))


def each_made(given: Iterable[Given], make: Callable[[Given], Variant]) -> tuple[Variant, ...]:
    """Make all variants, and tell the faults of all of them at once."""
    made, faults = [], []
    for one in given:
        try:
            made.append(make(one))
        except InputError as refusal:
            faults += _titled_faults(one.title if isinstance(one, Variant) else str(one), refusal)
    if faults:
        raise InputError(*faults)
    return tuple(made)


def _changed(variant: Variant, changes: Mapping[str, object]) -> Variant:
    return replace(variant, setup=changed(variant.setup, changes))


def _binned(setup: Setup, text: str) -> Variant:
    """Join pixels, and keep the line rate in step with the rows that are joined."""
    binning, _, domain = text.strip().partition(" ")
    changes: dict[str, object] = {"acquisition.binning": binning}
    if domain:
        changes["acquisition.binning_domain"] = domain.strip()
    made = changed(setup, changes)
    taller, taken = made.rows_read / setup.rows_read, made.acquisition
    if taller != 1 and not isinstance(taken.line_rate, str):
        made = changed(made, {"acquisition.line_rate": f"{taken.line_rate / taller!r} Hz"})
    divider = made.transport.encoder_divider
    if taller != 1 and divider is not None:
        made = changed(made, {"transport.encoder_divider": max(1, round(divider * taller))})
    joined = f" {taken.binning_domain}" if taken.binning != (1, 1) else ""
    return Variant(title=f"{taken.binning}{joined}", setup=made)


def _set(setup: Setup, text: str) -> Variant:
    changes = changes_of(text)
    faults = [
        f"{key}: all variants see the strip of the setup; expected this key in the setup file"
        for key in changes
        if key in _STRIP_KEYS
    ]
    if faults:
        raise InputError(*faults)
    return Variant(title=changes_title(changes), setup=changed(setup, changes))


def _running(variant: Variant) -> Station:
    """Work out the first variant, from which others take a time or a rate."""
    with named(variant):
        return station(variant.setup)


@contextmanager
def named(variant: Variant) -> Iterator[None]:
    """Say of which variant a refusal is."""
    try:
        yield
    except InputError as refusal:
        raise InputError(*_titled_faults(variant.title, refusal)) from None


def _titled_faults(title: str, refusal: InputError) -> list[str]:
    return [f"variant {shown(title)}: {fault}" for fault in refusal.faults]


def _at_rate(setup: Setup, rate_hz: float) -> dict[str, object]:
    """Expose lines at a rate: a clock takes it, an encoder the nearest number of counts."""
    transport = setup.transport
    if transport.trigger == "clock":
        return {"acquisition.line_rate": f"{rate_hz!r} Hz"}
    # of counts that get lost, only those that arrive are divided
    travel_um = 1000 * transport.speed_mm_s / rate_hz * (1 - setup.missed_counts)
    counts = travel_um / setup.encoder_count_um
    return {"transport.encoder_divider": max(1, round(counts))}


def _strip(setup: Setup) -> dict[str, object]:
    """Give the length of target that a setup scans; nothing where it is all of it."""
    taken = setup.acquisition
    if taken.lines is None:
        return {} if taken.length_mm is None else {"acquisition.length": f"{taken.length_mm!r} mm"}
    length_mm = taken.lines * float(station(setup).timing.line_advance_um) / 1000
    return {"acquisition.length": f"{length_mm!r} mm"}


def _refuse_twins(variants: Sequence[Variant]) -> None:
    titles = [variant.title for variant in variants]
    twins = [title for title in dict.fromkeys(titles) if titles.count(title) > 1]
    if twins:
        refuse(f"variants: read {', '.join(map(shown, twins))} more than once; expected each once")


def _refuse_other_targets(variants: Sequence[Variant]) -> None:
    first, *others = (_places(variant.setup) for variant in variants)
    faults = [
        f"variant {shown(variant.title)}: target.{key}: read {shown(found[key])}, but the first "
        f"variant has {shown(first[key])}; expected the same, so that all see one strip"
        for variant, found in zip(variants[1:], others, strict=True)
        for key in first
        if found[key] != first[key]
    ]
    if faults:
        raise InputError(*faults)


def _places(setup: Setup) -> dict[str, str]:
    """Tell what decides where on the target a thing lies."""
    target, image = setup.target, setup.target.image
    if image not in BUILT_IN:
        image = relative_to(setup.folder / image, Path())
    sides = {"width": target.width_mm, "height": target.height_mm}
    return {
        "image": image,
        "pixel_size": f"{target.pixel_size_um:.9g} um",
        **{key: "none" if value is None else f"{value:.9g} mm" for key, value in sides.items()},
        "angle": "none" if target.angle_deg is None else f"{target.angle_deg:.9g} deg",
    }
