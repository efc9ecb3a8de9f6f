"""
Images that can be looked at: the delivered samples stretched by a linear law of two numbers.

    v = round(F (DN - black) / (white - black)), cut at 0 and F,

F the full scale of 8 or 16 bits. Black is the camera's black level. White is, for a whole set, the
number that the product's brightest part gives at the brightest ends of all ranges, but full scale
at most: an image in less light stays darker. A product that is even or mirrors has its brightest
number all over, so that half of its samples would be cut there: noise, columns and a lamp's swing
have room above it. Values of a listed camera or binning key
make modes of the camera, each with its law, for whoever reads images knows the mode. Or each image
is stretched to its own 99.9th percentile.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.draw import Drawn
from linesim.dataset.plan.extents import largest
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.spans import Span
from linesim.dataset.scenes import EVEN
from linesim.forward.station import station
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.targets.faces.face import face_of
from linesim.targets.levels import levels_of

Samples = NDArray[np.uint8] | NDArray[np.uint16]
_PERCENTILE = 99.9
_ROOM_SD = 5.0
"""Noise for which an even product has room above its number; our choice."""
_LOOKED_AT = 4
"""Scenes whose brightest part is looked for; of drawn ones the first, as all are alike."""
_BYTE_BITS = 8
_MODES = ("camera.", "acquisition.binning")


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """How samples become an image: both numbers in DN of the samples."""

    black_dn: float
    white_dn: float
    bits: int

    @property
    def full(self) -> int:
        """Largest number of the image."""
        return int(2**self.bits) - 1

    def shown(self, samples: Samples) -> Samples:
        """Stretch samples."""
        share = (samples.astype(np.float64) - self.black_dn) / (self.white_dn - self.black_dn)
        kind = np.uint8 if self.bits <= _BYTE_BITS else np.uint16
        return np.asarray(np.rint(np.clip(share, 0, 1) * self.full).astype(kind))


def law_of(plan: Plan, shot: Drawn, samples: Samples) -> Law | None:
    """Give the law of an image; nothing where images are the samples."""
    if plan.images.stretch == "none":
        return None
    black_dn = float(shot.setup.camera.black_level_dn)
    if plan.images.stretch == "image":
        white_dn = float(np.percentile(samples, _PERCENTILE))
    else:
        modes = {key for span in plan.spans if _lists_modes(span) for key in span.axis.keys}
        mode = {key: value for key, value in shot.changes.items() if key in modes}
        black_dn, white_dn = _law_of_mode(plan, json.dumps(mode, sort_keys=True))
    return Law(
        black_dn=black_dn, white_dn=max(white_dn, black_dn + 1), bits=plan.images.stretch_bits
    )


def _lists_modes(span: Span) -> bool:
    return span.between is None and all(key.startswith(_MODES) for key in span.axis.keys)


@lru_cache(maxsize=64)
def _law_of_mode(plan: Plan, mode: str) -> tuple[float, float]:
    """Give black and white of all images of one mode of the camera. [DN]."""
    base, brightest = changed(plan.base, json.loads(mode)), _brightest(plan)
    black_dn = float(base.camera.black_level_dn)
    if plan.scenes.real:
        return black_dn, brightest
    others = [span for span in plan.spans if not _lists_modes(span)]
    white_dn = largest(base, others, lambda setup: _number_of(plan, setup, brightest))
    return black_dn, white_dn


def _number_of(plan: Plan, setup: Setup, share: float) -> float:
    """Give the number that a share of white is delivered as. [DN]."""
    numbers, face = station(setup), face_of(setup)
    share = share if face is None else face.lit(share)
    white_e, dn_per_e = np.asarray(numbers.electrons_white), np.asarray(numbers.dn_per_e)
    signal_dn = np.max(white_e * dn_per_e) * share
    if face is not None or plan.scenes.kind == EVEN:
        signal_e = white_e * share * (1 + setup.light.flicker)
        spread_e = np.hypot(numbers.noise_e(signal_e), numbers.pattern_e(signal_e))
        signal_dn = np.max((signal_e + _ROOM_SD * spread_e) * dn_per_e)
    return min(float(setup.camera.black_level_dn + signal_dn), float(setup.full_scale_dn))


@lru_cache(maxsize=2)
def _brightest(plan: Plan) -> float:
    """Look how light the brightest part of the scenes is: a share of white, of real scans DN."""
    some = range(min(_LOOKED_AT, plan.scenes.count) if plan.scenes.files else 1)
    return max(max(levels_of(plan.scene(k)).brightest) for k in some)


def law_texts(law: Law | None) -> Mapping[str, object]:
    """Write a law down; nothing where there is none."""
    if law is None:
        return {}
    return {"black_dn": law.black_dn, "white_dn": law.white_dn, "image_bits": law.bits}
