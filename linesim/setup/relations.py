"""What one key demands of another: choices between keys, and values that must fit together."""

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from linesim.setup.errors import InputError
from linesim.setup.fields import shown
from linesim.setup.infiles import existing_file
from linesim.setup.setup import Setup

_IMAGES = "a PNG, TIFF or JPEG image"
_ONE_OF = (
    ("lens", "magnification", "field_of_view", True),
    ("light", "illuminance", "irradiance", True),
    ("acquisition", "lines", "length", False),
)
"""Section, two keys that exclude each other, and whether one of them is needed."""


def broken_choices(texts: Mapping[str, Any]) -> Iterator[str]:
    """
    Find pairs of keys of which both, or neither, were given.

    Parameters
    ----------
    texts : mapping
        The setup as written.

    Yields
    ------
    str
        One sentence a fault.
    """
    for section, one, other, needed in _ONE_OF:
        table = texts.get(section, {})
        if not isinstance(table, Mapping):
            continue
        given = [key for key in (one, other) if key in table]
        if len(given) == 2:  # noqa: PLR2004 -- both of the pair
            read = " and ".join(f"{key} = {shown(table[key])}" for key in given)
            yield f"{section}: read {read}, but only one of the two can hold; leave one out"
        elif needed and not given:
            yield f"{section}: nothing was read for {one} or {other}, but one of the two is needed"


BUILT_IN = ("flat", "edge", "foil", "tile", "bars", "star", "steps")
"""Targets that linesim draws itself; any other name is an image file."""


def _image(setup: Setup) -> Iterator[str]:
    image = setup.target.image
    if image in BUILT_IN:
        return
    if not Path(image).suffix:
        near = get_close_matches(image, BUILT_IN, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"built in are {', '.join(BUILT_IN)}"
        yield (
            f'target.image: read "{image}", but there is no such built-in target, and an image '
            f"file has an ending such as .png; {hint}"
        )
        return
    try:
        existing_file(setup.folder / image, key="target.image", expected=_IMAGES, written=image)
    except InputError as fault:
        yield str(fault)


def _light(setup: Setup) -> Iterator[str]:
    if setup.light.illuminance_lx is not None:
        try:
            setup.light.spectrum.irradiance_w_m2(setup.light.illuminance_lx)
        except InputError as fault:
            yield f"light.illuminance: {fault}"


def _encoder(setup: Setup) -> Iterator[str]:
    transport = setup.transport
    given = transport.encoder_step_um is not None
    if transport.trigger == "encoder" and not given:
        yield (
            'transport.encoder_step: nothing was read, but trigger = "encoder" needs the travel '
            'per count, for example "20 um"'
        )
    if transport.trigger == "encoder" and not isinstance(setup.acquisition.line_rate, str):
        yield (
            f"acquisition.line_rate: read {shown(setup.texts['acquisition']['line_rate'])}, but "
            "with an encoder the travel makes the lines; expected is "
            '"matched" or "square", or set transport.encoder_divider'
        )
    if transport.trigger == "clock" and (given or transport.encoder_divider is not None):
        yield (
            'transport.trigger: read "clock" (the default), but encoder keys are given; '
            'expected is trigger = "encoder", or no encoder_step and encoder_divider'
        )


def _rows(setup: Setup) -> Iterator[str]:
    rows, binning = setup.camera.rows, setup.acquisition.binning
    if rows is not None and rows < binning.along:
        yield (
            f'acquisition.binning: read "{binning}", but camera.rows is {rows}, and binning along '
            f"joins neighbouring rows; expected is at most {rows} along, or more rows"
        )
    if binning.across > setup.camera.pixels:
        yield (
            f'acquisition.binning: read "{binning}", but the line has only '
            f"{setup.camera.pixels} pixels"
        )


def _levels(setup: Setup) -> Iterator[str]:
    if setup.camera.black_level_dn >= setup.full_scale_dn / 2:
        yield (
            f"camera.black_level: read {setup.camera.black_level_dn:g} DN, but full scale is "
            f"{setup.full_scale_dn} DN; expected is less than half of it"
        )


def broken_relations(setup: Setup) -> Iterator[str]:
    """
    Find values that are fine alone and wrong together.

    Parameters
    ----------
    setup : Setup
        Each value checked by itself.

    Yields
    ------
    str
        One sentence a fault.
    """
    for check in (_image, _light, _encoder, _rows, _levels):
        yield from check(setup)
