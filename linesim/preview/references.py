"""Targets, drawn or read in the background, so that a slow one holds nobody up."""

from collections.abc import Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import wait as wait_for
from dataclasses import dataclass, replace
from math import prod
from pathlib import Path
from threading import Lock
from time import monotonic

from linesim.forward.reference import ArrayReference, Reference
from linesim.preview.averaged import coarser
from linesim.preview.held import Held
from linesim.preview.uploads import Upload
from linesim.preview.variant import Variant
from linesim.setup.infiles import changed_ns
from linesim.setup.relations import BUILT_IN
from linesim.targets.faces.face import face_of
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import TargetSize, lit_size, target_reference, target_size

_BYTES = 700_000_000
"""Room for targets: two large ones in colour, or a dozen of the usual size."""
_VALUE_BYTES = 4
_FORGOTTEN_S = 1.0
"""Pages that wait for a target ask ten times a second."""
_COARSE_BYTES = 100_000_000
_MOST_COARSENED = 200_000_000
"""Values of a target that are averaged for quick pictures; larger ones take seconds to be read."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Ready:
    """A target that can be looked at."""

    reference: Reference
    size: TargetSize
    key: Hashable


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Drawing:
    """A target that is being drawn, and when it was asked for last."""

    future: Future[Ready]
    asked_s: float


class References:
    """The targets of one preview."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._held: Held[Ready] = Held(_BYTES)
        self._coarse: Held[Reference] = Held(_COARSE_BYTES)
        self._hand = ThreadPoolExecutor(max_workers=2, thread_name_prefix="target")
        self._drawing: dict[Hashable, _Drawing] = {}

    def get(self, found: Variant, patience_s: float) -> Ready | None:
        """Give a target to a thread that makes pictures; ``None`` where it takes longer."""
        if found.upload is not None:
            return self._brought(found, found.upload)
        key = _key(found)
        ready = self._held.get(key)
        if ready is not None:
            return ready
        future = self._asked(key, found)
        if not wait_for([future], timeout=patience_s).done or future.cancelled():
            return None
        with self._lock:
            self._drawing.pop(key, None)
        return self._kept(future.result())

    def own(self, found: Variant) -> Ready:
        """Give a target to another thread, which draws it itself where it is not held."""
        if found.upload is not None:
            return self._brought(found, found.upload)
        key = _key(found)
        ready = self._held.get(key)
        return self._kept(_draw(found, key)) if ready is None else ready

    def coarser(self, ready: Ready, side: int) -> tuple[Reference, Hashable]:
        """Give a target averaged over squares, for pictures while something moves, and its key."""
        whole, key = ready.reference, (ready.key, side)
        if side == 1 or prod(whole.shape) > _MOST_COARSENED:
            return whole, ready.key
        found = self._coarse.get(key)
        if found is None:
            found = coarser(whole, side)
            self._coarse.put(key, found, _VALUE_BYTES * prod(found.shape))
        return found, key

    def _brought(self, found: Variant, upload: Upload) -> Ready:
        """Give an image that was brought, and look at how light it is but once."""
        pitch_um = found.setup.target.pixel_size_um
        # as long as it is held, no other array has its number
        key = id(upload.data), pitch_um, face_of(found.setup) and _key(found)
        ready = self._held.get(key)
        if ready is not None:
            return ready
        matt = ArrayReference(data=upload.data, pixel_size_um=pitch_um)
        size = replace(TargetSize.of(matt), cautions=upload.cautions)
        size = lit_size(found.setup, size, matt)
        reference = lit_reference(found.setup, matt)
        return self._kept(Ready(reference=reference, size=size, key=key))

    def _kept(self, ready: Ready) -> Ready:
        return self._held.put(ready.key, ready, _VALUE_BYTES * prod(ready.reference.shape))

    def _asked(self, key: Hashable, found: Variant) -> Future[Ready]:
        """Have it drawn, once however often it is asked for; what waits for nobody is let go."""
        now = monotonic()
        with self._lock:
            for other, drawing in list(self._drawing.items()):
                if other != key and now - drawing.asked_s > _FORGOTTEN_S:
                    drawing.future.cancel()
                    del self._drawing[other]
            known = self._drawing.get(key)
            future = known.future if known else self._hand.submit(_draw, found, key)
            self._drawing[key] = _Drawing(future=future, asked_s=now)
            return future

    def close(self) -> None:
        """Let the threads end."""
        self._hand.shutdown(wait=False, cancel_futures=True)


def _key(found: Variant) -> Hashable:
    """Tell a target by its values; a file by when it was changed too."""
    target, face = found.setup.target, face_of(found.setup)
    names = [name for name in (target.image, target.relief) if name and name not in BUILT_IN]
    files: list[Path] = [found.setup.folder / name for name in names]
    return (target, face, *((each, changed_ns(each)) for each in files))


def _draw(found: Variant, key: Hashable) -> Ready:
    size = target_size(found.setup)
    reference = lit_reference(found.setup, target_reference(found.setup))
    return Ready(reference=reference, size=size, key=key)
