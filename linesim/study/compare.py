"""Variants of a station side by side: the same strip of one target, scanned by each of them."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from linesim.budget.verdicts import Verdict
from linesim.forward.reference import Reference
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.study.memory import refuse_too_large
from linesim.study.scan import Scan, needed, scan
from linesim.study.variants import BINNINGS, Variant, alike, binning_variants, set_variants
from linesim.targets.load import target_reference, target_size

MOST = 6
"""Pictures that fit side by side."""
_READ_BY_NAME = ("flat", "edge")
"""Targets that figures are read off; they cost next to nothing to draw."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """
    One variant and its scan.

    Parameters
    ----------
    title : str
        A few words that tell it from the others.
    scan : Scan
        Image and figures.
    """

    title: str
    scan: Scan

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Each requirement against what it reaches."""
        return self.scan.budget.verdicts

    @property
    def meets_all(self) -> bool:
        """Tell whether it meets every requirement."""
        return all(verdict.met for verdict in self.verdicts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """
    Variants of one station over one strip.

    Parameters
    ----------
    title : str
        Of the station.
    variants : tuple of Compared
        In the order asked for; the others are set against the first.
    """

    title: str
    variants: tuple[Compared, ...]

    @property
    def any_meets_all(self) -> bool:
        """Tell whether a variant meets every requirement."""
        return any(one.meets_all for one in self.variants)

    def metrics(self) -> dict[str, object]:
        """All figures of all variants, as compare.json has them."""
        return {
            "title": self.title,
            "variants": [{"title": one.title, **one.scan.metrics()} for one in self.variants],
        }


def compare(  # noqa: PLR0913 -- one option a parameter
    setup: Setup,
    variants: Sequence[str | Variant] = BINNINGS,
    seed: int = 0,
    *,
    exposure: str | None = None,
    keep_line_rate: bool = False,
    workers: int | None = None,
    force: bool = False,
) -> Comparison:
    """
    Scan one strip of the target by several variants of a station.

    Parameters
    ----------
    setup : Setup
        The station.
    variants : sequence of str or Variant
        Ways of binning ("2x2", "2x2 digital"), or changed keys ("light.illuminance=20 klx;
        lens.f_number=2.8", which are set beside the setup as it is), or variants ready made.
    seed : int
        Of noise and jitter, the same for all.
    exposure : str, optional
        "same" gives all the first variant's exposure time, "full" gives each its whole line
        period; left out, each does as its setup says.
    keep_line_rate : bool
        Give all the line rate of the first; otherwise it stays in step with the joined rows.
    workers : int, optional
        Threads; they change no byte.
    force : bool
        Begin also where less memory is available than the scans will take.

    Returns
    -------
    Comparison
        Scans and figures.

    Raises
    ------
    InputError
        Where there are fewer than two variants or more than six, they look at different targets,
        or one of them cannot be run.
    """
    if not variants:
        refuse_count(0)
    made = _variants(setup, variants, exposure=exposure, keep_line_rate=keep_line_rate)
    return compared(setup.title, made, seed, workers=workers, force=force)


def _variants(
    setup: Setup, given: Sequence[str | Variant], *, exposure: str | None, keep_line_rate: bool
) -> tuple[Variant, ...]:
    """Make the variants that are given as texts of one kind; ready ones are taken as they are."""
    texts = [one for one in given if isinstance(one, str)]
    ready = [one for one in given if isinstance(one, Variant)]
    keys = [text for text in texts if "=" in text]
    if sum(map(bool, (ready, keys, len(texts) > len(keys)))) > 1:
        msg = (
            f"variants: read {', '.join(map(shown, texts))}"
            f"{' and variants ready made' if ready else ''}, but these are of several kinds; "
            'expected binning modes alone ("2x2") or changed keys alone ("acquisition.binning=2x2")'
        )
        raise InputError(msg)
    if ready:
        return alike(setup, ready, exposure=exposure, keep_line_rate=keep_line_rate)
    make = set_variants if keys else binning_variants
    return make(setup, texts, exposure=exposure, keep_line_rate=keep_line_rate)


def compared(
    title: str,
    variants: Sequence[Variant],
    seed: int = 0,
    *,
    workers: int | None = None,
    told: Callable[[int, int], None] | None = None,
    force: bool = False,
) -> Comparison:
    """
    Scan variants that are ready, one after the other; the target is drawn or read once.

    Parameters
    ----------
    title : str
        Of the station.
    variants : sequence of Variant
        Two to six, on one target.
    seed : int
        Of noise and jitter, the same for all.
    workers : int, optional
        Threads; they change no byte.
    told : callable, optional
        Called before each scan, with how many are done and how many there are.
    force : bool
        Begin also where less memory is available than all scans will take.

    Returns
    -------
    Comparison
        Scans and figures.

    Raises
    ------
    InputError
        Where there are fewer than two variants or more than six, or one of them cannot be run.
    """
    refuse_count(len(variants))
    _refuse_too_large(variants, workers, force=force)
    drawn = _drawn(variants[0].setup)
    found = []
    for done, variant in enumerate(variants):
        if told:
            told(done, len(variants))
        found.append(_scanned(variant, seed, drawn, workers))
    return Comparison(title=title, variants=tuple(found))


def _refuse_too_large(variants: Sequence[Variant], workers: int | None, *, force: bool) -> None:
    """Refuse before the first scan what the last one would not fit beside."""
    asked = []
    for one in variants:
        with _named(one):
            asked.append(needed(one.setup, target_size(one.setup), workers=workers))
    refuse_too_large([each for each, _ in asked], max(shape for _, shape in asked), force=force)


@contextmanager
def _named(variant: Variant) -> Iterator[None]:
    """Say of which variant a refusal is."""
    try:
        yield
    except InputError as refusal:
        told = (f"variant {shown(variant.title)}: {fault}" for fault in refusal.faults)
        raise InputError(*told) from None


def refuse_count(count: int) -> None:
    """
    Refuse what is no comparison, or too much for one page.

    Parameters
    ----------
    count : int
        Of variants.

    Raises
    ------
    InputError
        Where there are fewer than two or more than six.
    """
    if not 2 <= count <= MOST:  # noqa: PLR2004 -- one is no comparison
        msg = f"variants: read {count}, but a comparison has 2 to {MOST} side by side"
        raise InputError(msg)


def _drawn(setup: Setup) -> Reference | None:
    """Draw or read the target once, so that all see the same, whatever happens to a file."""
    return target_reference(setup) if setup.target.image not in _READ_BY_NAME else None


def _scanned(variant: Variant, seed: int, drawn: Reference | None, workers: int | None) -> Compared:
    with _named(variant):
        found = scan(variant.setup, seed, drawn, workers=workers, force=True)
    return Compared(title=variant.title, scan=found)
