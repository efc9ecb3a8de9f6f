"""Variants of a station side by side: the same strip of one target, scanned by each of them."""

from collections.abc import Sequence
from dataclasses import dataclass

from linesim.figures.verdicts import Verdict, worst_state
from linesim.forward.device.choice import chosen
from linesim.setup.arguments import checked_seed, checked_setup, checked_workers, refuse_no_list
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.studies.compare.tasks import VariantTask, refuse_without_memory, scanned, target_for
from linesim.studies.compare.variants import (
    BINNINGS,
    Variant,
    alike,
    binning_variants,
    set_variants,
)
from linesim.studies.scan.study import Scan
from linesim.workers.tasks import Alone, Progress, Runner, in_order

MOST = 6
"""Pictures that fit side by side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One variant and its scan."""

    title: str
    scan: Scan

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Each requirement against what it reaches."""
        return self.scan.budget.verdicts

    @property
    def meets_all(self) -> bool:
        """Tell whether it runs, does not clip and meets every requirement."""
        return all(verdict.met for verdict in self.verdicts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Variants of one station over one strip."""

    title: str
    variants: tuple[Compared, ...]  # in the order asked for; the others are set against the first

    @property
    def any_meets_all(self) -> bool:
        """Tell whether one variant at least runs, does not clip and meets every requirement."""
        return any(one.meets_all for one in self.variants)

    def metrics(self) -> dict[str, object]:
        """All figures of all variants, as compare.json has them."""
        return {
            "title": self.title,
            "variants": [
                {"title": one.title, "state": worst_state(one.verdicts), **one.scan.metrics()}
                for one in self.variants
            ],
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
    device: str | None = None,
) -> Comparison:
    """
    Scan one strip of the target by several variants of a station.

    Parameters
    ----------
    variants : sequence of str or Variant
        Ways of binning ("2x2", "2x2 digital"), or changed keys ("light.illuminance=20 klx;
        lens.f_number=2.8", which are set beside the setup as it is), or variants ready made.
    exposure : str, optional
        "same" gives all the first variant's exposure time, "full" gives each its whole line period;
        left out, each does as its setup says.
    keep_line_rate : bool
        Give all the line rate of the first; otherwise it stays in step with the joined rows.
    workers : int, optional; threads; they change no byte
    force : bool; begin also where less memory is available than the scans will take
    device : str, optional; what renders, as `linesim.scan` takes it

    Raises
    ------
    InputError
        Where there are fewer than two variants or more than six, they look at different targets, or
        one of them cannot be run, or not on the device.
    """
    checked_setup(setup)
    checked_workers(workers)
    refuse_no_list(variants, "variants", (str, Variant))
    if not 0 < len(variants) <= MOST:
        refuse_count(len(variants))
    made = _variants(setup, variants, exposure=exposure, keep_line_rate=keep_line_rate)
    run_by = Alone(threads=workers)
    return compared(setup.title, made, seed, runner=run_by, force=force, device=device)


def _variants(
    setup: Setup, given: Sequence[str | Variant], *, exposure: str | None, keep_line_rate: bool
) -> tuple[Variant, ...]:
    """Make the variants that are given as texts of one kind; ready ones are taken as they are."""
    texts = [one for one in given if isinstance(one, str)]
    ready = [one for one in given if isinstance(one, Variant)]
    keys = [text for text in texts if "=" in text]
    if sum(map(bool, (ready, keys, len(texts) > len(keys)))) > 1:
        refuse(
            f"variants: read {', '.join(map(shown, texts))}"
            f"{' and variants ready made' if ready else ''}, but these are of several kinds; "
            'expected binning modes alone ("2x2") or changed keys alone ("acquisition.binning=2x2")'
        )
    if ready:
        return alike(setup, ready, exposure=exposure, keep_line_rate=keep_line_rate)
    make = set_variants if keys else binning_variants
    return make(setup, texts, exposure=exposure, keep_line_rate=keep_line_rate)


def compared(  # noqa: PLR0913 -- as `compare`
    title: str,
    variants: Sequence[Variant],
    seed: int = 0,
    *,
    runner: Runner | None = None,
    progress: Progress = lambda _done, _total: None,
    force: bool = False,
    device: str | None = None,
) -> Comparison:
    """
    Scan variants that are ready, two to six; each process draws or reads the target once.

    Parameters
    ----------
    progress : callable
        Called before the first scan and between scans, with how many are done, of how many.
    force : bool; begin also where less memory is available than all scans will take
    """
    seed = checked_seed(seed)
    refuse_count(len(variants))
    on = chosen(device, [one.setup for one in variants]).device
    run_by = runner or Alone()
    refuse_without_memory(variants, run_by, force=force)
    with target_for(variants[0].setup, run_by) as target:
        tasks = [
            VariantTask(variant=one, seed=seed, target=target, threads=run_by.threads, device=on)
            for one in variants
        ]
        progress(0, len(tasks))
        scans = in_order(
            run_by,
            scanned,
            tasks,
            lambda done, total: progress(done, total) if done < total else None,
        )
    found = zip(variants, scans, strict=True)
    return Comparison(
        title=title, variants=tuple(Compared(title=one.title, scan=scan) for one, scan in found)
    )


def refuse_count(count: int) -> None:
    """Refuse what is no comparison, or too much for one page."""
    if not 2 <= count <= MOST:  # noqa: PLR2004 -- one is no comparison
        refuse(f"variants: read {count}, but a comparison has 2 to {MOST} side by side")
