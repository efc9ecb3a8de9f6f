"""Target and simulated scan of the same place at the same scale, in true proportion."""

from dataclasses import dataclass
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from linesim.figures.plain_numbers import digits, percent
from linesim.files.srgb import linear_to_srgb
from linesim.forward.reference import Reference
from linesim.forward.station import station
from linesim.report.page_parts import Divider
from linesim.report.picture import round_length_mm, white_for
from linesim.setup.arrays import ImageArray
from linesim.setup.channels import COLOURS
from linesim.studies.scan.study import Scan
from linesim.studies.scan.views import (
    Place,
    Window,
    detail,
    scan_means,
    target_means,
    whole,
    window,
)
from linesim.targets.faces.face import face_of

_MOST_BYTES = 1_000_000
"""Of both pictures of a place, so that a page with a detail keeps well under 3 MB."""
_SMALLER = 0.8
_WHITE_PERCENTILE = 99.9
_MOST_STRETCH = 2.0
"""Noise on little light may lift the scan's white so far over the target's, and no further."""
_BLACKEST = 1e-6
_SAME = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """What is shown as black and as white in both pictures."""

    black_dn: float
    white_dn: float
    reflectance: float
    is_shared: bool


def png_of(shown: NDArray[np.uint8]) -> bytes:
    """
    Pack a picture.

    Parameters
    ----------
    shown : ndarray of uint8, shape (height, width) or (height, width, 3); ready for the screen
    """
    out = BytesIO()
    Image.fromarray(shown).save(out, "PNG")
    return out.getvalue()


def tone(found: Scan, target: ImageArray) -> Tone:
    """Choose black and white, the same light in both pictures wherever the scan allows it."""
    numbers = station(found.setup)
    black_dn = float(found.setup.camera.black_level_dn)
    own_dn = white_for(found.image, black_dn)
    step_dn = float(np.max(numbers.delivered.gain_dn_e * numbers.electrons_white))
    brightest = max(float(np.percentile(target, _WHITE_PERCENTILE)), _BLACKEST)
    equal = (own_dn - black_dn) / step_dn if step_dn > 0 else np.inf
    reflectance = float(np.clip(equal, brightest, _MOST_STRETCH * brightest))
    shared_dn = black_dn + reflectance * step_dn
    # a saturated scan never gets as bright as the target; without light there is nothing to share
    is_shared = black_dn + 1 < shared_dn <= found.setup.full_scale_dn
    return Tone(
        black_dn=black_dn,
        white_dn=shared_dn if is_shared else own_dn,
        reflectance=reflectance if is_shared else brightest,
        is_shared=is_shared,
    )


def on_screen(share: ImageArray) -> NDArray[np.uint8]:
    """
    Bring linear light to the screen.

    Parameters
    ----------
    share : ndarray of any shape; of what is shown as white
    """
    return np.asarray(np.rint(255 * linear_to_srgb(np.clip(share, 0, 1))), dtype=np.uint8)


def _packed(found: Scan, source: Reference, chosen: Tone, seen: Window) -> tuple[bytes, bytes]:
    span_dn = chosen.white_dn - chosen.black_dn
    target = target_means(found, source, seen) / chosen.reflectance
    scanned = (scan_means(found, seen) - chosen.black_dn) / span_dn
    return png_of(on_screen(target)), png_of(on_screen(scanned))


def _colours(found: Scan, source: Reference) -> int:
    is_grey = np.ndim(found.image) == len(source.shape) == 2  # noqa: PLR2004 -- no axis of colours
    return 1 if is_grey else len(COLOURS)


def _fitting(
    found: Scan, source: Reference, chosen: Tone, place: Place
) -> tuple[Window, tuple[bytes, bytes]]:
    """Make both pictures, smaller until they are small enough."""
    smaller, colours = 1.0, _colours(found, source)
    while True:
        seen = window(found, place, colours, smaller)
        packed = _packed(found, source, chosen, seen)
        if len(packed[0]) + len(packed[1]) <= _MOST_BYTES:
            return seen, packed
        smaller *= _SMALLER


def _light_words(found: Scan, chosen: Tone) -> str:
    share = found.setup.target.white_reflectance * chosen.reflectance
    lit = face_of(found.setup) is not None
    white = f"radiance factor of {digits(share)}" if lit else f"reflectance of {percent(share, 2)}"
    levels = f"{chosen.black_dn:.0f} DN to {chosen.white_dn:.0f} DN of {found.setup.full_scale_dn}"
    if chosen.is_shared:
        return (
            f"Both are shown at the same brightness: black is no light, white a {white}, "
            f"which in the scan is {levels}."
        )
    return f"Brightness is stretched: the target up to a {white}, the scan from {levels}."


def _proportion_words(found: Scan) -> str:
    aspect = found.budget.number("geometry", "pixel_aspect")
    if abs(aspect - 1) <= _SAME:
        return ""
    change = "compressed" if aspect > 1 else "stretched"
    return (
        f" Shown in true proportion; as delivered, the picture is {change} along travel by "
        f"{max(aspect, 1 / aspect):.3g}."
    )


def _divider(found: Scan, source: Reference, chosen: Tone, place: Place, words: str) -> Divider:
    seen, (before, after) = _fitting(found, source, chosen, place)
    wide_mm = seen.width * seen.pitch_um / 1000
    bar_mm = round_length_mm(0.3 * wide_mm)
    tall_mm = seen.height * seen.pitch_um / 1000
    size = f"{wide_mm:.3g} mm x {tall_mm:.3g} mm"
    return Divider(
        before=before,
        after=after,
        names=("Target", "Simulated scan"),
        alts=(
            f"The target as given, {size}",
            f"The same place as the station would deliver it, {size}",
        ),
        size_px=(seen.width, seen.height),
        bar=(f"{bar_mm:g} mm", bar_mm / wide_mm),
        caption=words,
    )


def before_after(found: Scan, source: Reference) -> tuple[Divider, ...]:
    """Set target and scan against each other: all of it, and a detail where that shows more."""
    place, close = whole(found), detail(found)
    chosen = tone(found, target_means(found, source, window(found, place, 1)))
    words = (
        f"{place.columns} x {place.lines} samples. {_light_words(found, chosen)}"
        f"{_proportion_words(found)}"
    )
    dividers = [_divider(found, source, chosen, place, words)]
    if close is not None:
        said = (
            f"Detail of {close.columns} x {close.lines} samples, where something small stands out "
            "most, magnified until each sample is seen."
        )
        dividers.append(_divider(found, source, chosen, close, said))
    return tuple(dividers)
