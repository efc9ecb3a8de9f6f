"""From what the page has changed to a checked setup."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any

from linesim.forward.station import station
from linesim.preview.control_kinds import SHARE
from linesim.preview.controls import controls
from linesim.preview.uploads import Upload, Uploads
from linesim.setup.errors import refuse
from linesim.setup.load import changed
from linesim.setup.relations import BUILT_IN
from linesim.setup.setup import Setup

TARGET = "target"
PIXEL_SIZE = "target.pixel_size"
FIELD = "lens.field_of_view"
_OTHER_SCALES = ("lens.magnification", "lens.working_distance")
OWN = "own"
"""The target that the setup itself names."""
_STAND_IN = "flat"
_FINEST = 3
"""Reference pixels in an object pixel of a built-in target; fewer where it would be large."""
_MOST_DRAWN = 12_000_000
_SHAPE = 0.75
"""Height over width of a target that is chosen here; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """A setup as the page has it."""

    setup: Setup
    upload: Upload | None = None


def variant(base: Setup, changes: Mapping[str, Any], uploads: Uploads) -> Variant:
    """Apply what the page has changed."""
    _refuse_other_keys(base, changes)
    special = (TARGET, SHARE, PIXEL_SIZE)
    plain = {key: value for key, value in changes.items() if key not in special}
    if FIELD in plain:  # in the place of what else says how large the target is seen
        plain = {**dict.fromkeys(_OTHER_SCALES), **plain}
    setup = changed(base, plain)
    target = str(changes.get(TARGET, OWN))
    upload = None if target == OWN or target in BUILT_IN else uploads.get(target)
    if upload is not None:
        setup = changed(setup, _stand_in(setup, upload, changes.get(PIXEL_SIZE)))
    elif target != OWN:
        setup = changed(setup, _built_in(setup, target))
    if SHARE in changes:
        setup = _exposed(setup, changes[SHARE])
    return Variant(setup=_named(setup, upload.name) if upload else setup, upload=upload)


def _refuse_other_keys(base: Setup, changes: Mapping[str, Any]) -> None:
    """Let nothing through that names a file or has no control."""
    known = {each.key for each in controls(base)} | {TARGET, PIXEL_SIZE}
    for key, value in changes.items():
        if key not in known or not isinstance(value, str | int | float):
            refuse(f'"{key[:60]}": there is no such control on the page')


def _exposed(setup: Setup, share: object) -> Setup:
    """Take a part of the longest exposure; the setup that is written has it as a time."""
    if isinstance(share, bool) or not isinstance(share, int | float) or not 0 < share <= 1:
        refuse(f"{SHARE}: read {share!r}; expected a part over 0 and up to 1, for example 0.5")
    full = changed(setup, {"acquisition.exposure": "full"})
    if share == 1:
        return full
    exposure_us = share * float(station(full).timing.exposure_us)
    return changed(full, {"acquisition.exposure": f"{exposure_us!r} us"})


def _stand_in(setup: Setup, upload: Upload, pixel_size: object) -> dict[str, Any]:
    """Put an even target, which needs no file, in the place of an image in memory."""
    finest_um = float(station(setup).geometry.object_pixel_x_um) / _FINEST
    return {
        **dict.fromkeys(("target.width", "target.height", "target.angle", "target.contrast")),
        "target.image": _STAND_IN,
        "target.pixel_size": pixel_size or f"{finest_um:.4g} um",
        "target.encoding": upload.encoding,
    }


def _named(setup: Setup, image: str) -> Setup:
    """Let a checked setup name an image that is in memory, not in a file."""
    target = setup.sections.target.model_copy(update={"image": image})
    texts = {**setup.texts, "target": {**setup.texts["target"], "image": image}}
    return Setup(
        sections=setup.sections.model_copy(update={"target": target}),
        texts=texts,
        folder=setup.folder,
    )


def _built_in(setup: Setup, name: str) -> dict[str, Any]:
    """Size a built-in target for a station: as wide as the line, fine enough, not too large."""
    if name == setup.target.image:
        return {}
    place = station(setup).geometry
    pixel_um = float(min(place.object_pixel_x_um / place.across, place.row_side_um / place.along))
    width_um = setup.camera.pixels * float(place.object_pixel_x_um / place.across)
    fitting = (_MOST_DRAWN / (_SHAPE * (width_um / pixel_um) ** 2)) ** 0.5
    size_um = pixel_um / max(1.0, min(_FINEST, fitting))
    most_rows = _MOST_DRAWN / (width_um / size_um)
    height_um = min(_SHAPE * width_um, most_rows * size_um)
    if not all(isfinite(each) and each > 0 for each in (size_um, width_um, height_um)):
        refuse(f'target: "{name}" cannot be drawn for this station')
    return {
        **dict.fromkeys(("target.angle", "target.contrast")),
        "target.image": name,
        "target.pixel_size": f"{size_um:.5g} um",
        "target.width": f"{width_um / 1000:.5g} mm",
        "target.height": f"{height_um / 1000:.5g} mm",
    }
