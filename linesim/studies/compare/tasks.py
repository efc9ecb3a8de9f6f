"""
Scanning variants as tasks: what travels to a worker, where it gets the target from, and memory.

The target is drawn or read once, here, and workers of this machine read it where it lies: to
draw a scene takes longer than to scan it. Workers elsewhere each draw or read it once.
"""

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace
from functools import lru_cache

from linesim.forward.reference import ArrayReference, Reference
from linesim.forward.render import one_blas_thread
from linesim.setup.errors import InputError, refuse
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.surface import FACED
from linesim.studies.compare.variants import Variant, named
from linesim.studies.scan.memory import Need, refuse_too_large
from linesim.studies.scan.study import Held, RunOptions, Scan, needed, scan_held
from linesim.targets.load import TargetSize, given_size, target_reference, target_size
from linesim.workers.shared_array import Shared, attached, can_share, shared
from linesim.workers.tasks import Runner

_READ_BY_NAME = ("flat", "edge", *FACED)
"""Targets that figures are read off, or that are more than an array; each process draws its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where another process gets a target from."""

    setup: Setup
    digest: str
    held: Shared | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VariantTask:
    """One variant to scan."""

    variant: Variant
    seed: int
    target: Reference | Origin | None
    threads: int | None
    device: str | None


@contextmanager
def target_for(setup: Setup, runner: Runner) -> Iterator[Reference | Origin | None]:
    """Have the target drawn or read once, so that all see the same, whatever happens to a file."""
    if setup.target.image in _READ_BY_NAME:
        yield None
        return
    if runner.apart and not can_share(runner):
        yield Origin(setup=setup, digest=_digest(setup), held=None)
        return
    with one_blas_thread():
        target = target_reference(setup)
    if not runner.apart:
        yield target
        return
    lent = _lent(target)
    del target  # what workers read is a copy
    with lent as held:
        yield Origin(setup=setup, digest="", held=held)


def _lent(target: Reference) -> AbstractContextManager[Shared | None]:
    """Lend a target that is held; what is drawn by rows takes no time to set up."""
    return shared(target.data) if isinstance(target, ArrayReference) else nullcontext()


def _digest(setup: Setup) -> str:
    """Tell a file by what is in it; nothing where there is none."""
    if setup.target.image in BUILT_IN:
        return ""
    try:
        with (setup.folder / setup.target.image).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


@lru_cache(maxsize=1)
def _seen(origin: Origin) -> Reference:
    """Look at the target where it lies, or draw or read it once in each worker."""
    data = attached(origin.held) if origin.held else None
    if data is not None:
        return ArrayReference(data=data, pixel_size_um=origin.setup.target.pixel_size_um)
    if _digest(origin.setup) != origin.digest:
        refuse(
            f"target.image: read {shown(origin.setup.target.image)}, which is not the same file "
            "for a worker as it is here; expected one that stays, under one path on all machines"
        )
    return target_reference(origin.setup)


def scanned(task: VariantTask) -> Scan:
    """Scan one variant: what a worker is asked to do."""
    target = _seen(task.target) if isinstance(task.target, Origin) else task.target
    setup, how = (
        task.variant.setup,
        RunOptions(workers=task.threads, force=True, device=task.device),
    )
    with named(task.variant):
        held = Held(reference=target, size=_size(setup, target), is_own=target is None)
        return scan_held(setup, task.seed, held, how)


def _size(setup: Setup, target: Reference | None) -> TargetSize:
    """Judge a variant as it would be alone; a file that is at hand may have changed meanwhile."""
    if target is None or setup.target.image in BUILT_IN:
        return target_size(setup)
    return given_size(setup, target)


def refuse_without_memory(variants: Sequence[Variant], runner: Runner, *, force: bool) -> None:
    """Refuse before the first scan what the last one would not leave room for."""
    needs, shapes = [], []
    for one in variants:
        with named(one):
            need, shape = needed(one.setup, target_size(one.setup), workers=runner.threads)
        needs.append(need)
        shapes.append(shape)
    try:
        refuse_too_large(
            _apart(needs, variants[0].setup, runner) if runner.apart else needs,
            max(shapes),
            force=force,
        )
    except InputError as refusal:
        if runner.here == 0:
            raise
        msg = f"{refusal}; fewer workers need less, as each of them holds a scan of its own"
        raise InputError(msg) from None


def _apart(needs: Sequence[Need], setup: Setup, runner: Runner) -> list[Need]:
    """
    Add up what a scan takes in all workers of this machine, and here.

    A result is there twice in its worker and once more here while it travels, as a pickled text.
    """
    at_once = min(runner.here, len(needs))
    read = _file_bytes(setup)
    if can_share(runner):
        targets = max(each.target for each in needs) + read
    else:
        # samples of a file, of up to 16 bits, lie beside single precision while it is read
        targets = at_once * max(*(each.target for each in needs), read * 3 // 2)
    return [
        replace(each, target=targets, work=at_once * (each.work + 2 * each.result) + each.result)
        for each in needs
    ]


def _file_bytes(setup: Setup) -> int:
    """Count what an image file takes, which has been read here by now; 0 for what is drawn."""
    if setup.target.image in BUILT_IN:
        return 0
    read = target_reference(setup)
    return read.data.nbytes if isinstance(read, ArrayReference) else 0
