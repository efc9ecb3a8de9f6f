"""What one key demands of another: choices between keys, and values that must fit together."""

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from itertools import product
from pathlib import Path
from typing import Any

from linesim.setup.errors import InputError
from linesim.setup.infiles import existing_file
from linesim.setup.lens.demands import field_reaches_the_ends, lens_is_in_front
from linesim.setup.lens.lens import OVER_FIELD_KEYS
from linesim.setup.sensor_relations import (
    SENSOR_KEYS,
    ambient_is_seen,
    binning_is_possible,
    black_leaves_room,
    faults_have_what_they_need,
    format_holds_the_samples,
    one_value_for_one_channel,
    rate_has_a_pulse,
    registration_is_of_a_prism,
    rows_make_the_pixel,
    sensor_holds_together,
)
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.speeds import SLOWEST, SPEED, slowest_is_slower
from linesim.setup.surface import FACED, LIGHTS
from linesim.setup.surface_relations import SURFACE_KEYS, lights_take_turns, surface_is_whole

_IMAGES = "a PNG, TIFF or JPEG image"
_LIGHT = ("illuminance", "irradiance", "lamp_illuminance"), 'illuminance = "40 klx"'
_ONE_OF = (
    ("lens", ("magnification", "field_of_view", "working_distance"), "magnification = 0.1"),
    *((name, *_LIGHT) for name in LIGHTS),
    ("acquisition", ("lines", "length"), ""),
    ("camera", ("dynamic_range", "dynamic_range_1288"), ""),
)
"""Section, keys that exclude each other, and an example where one of the first two is needed."""


def broken_choices(texts: Mapping[str, Any]) -> Iterator[str]:
    """Find keys of which more than one, or none, were given."""
    for section, keys, example in _ONE_OF:
        table = texts.get(section, {} if section not in LIGHTS[1:] else None)
        if not isinstance(table, Mapping):
            continue
        given = [key for key in keys if key in table]
        pair = [f"{section}.{key}" for key in (*given, *keys[:2])[:2]]
        if len(given) > 1:
            read = " and ".join(shown(table[key]) for key in given[:2])
            yield (
                f"{', '.join(pair)}: read {read}, but only one of the two can hold; leave one out"
            )
        elif example and not given:
            yield (
                f"{', '.join(pair)}: nothing was read, but one of the two is needed, for example "
                f"{example}"
            )


_PRODUCTS = ("cloth", "timber", "print")
BUILT_IN = ("flat", "edge", "foil", "tile", "bars", "star", "steps", *FACED, *_PRODUCTS)
"""Targets that linesim draws itself; any other name is an image file."""


def _image(setup: Setup) -> Iterator[str]:
    image = setup.target.image
    if image in BUILT_IN:
        return
    if not Path(image).suffix:
        near = get_close_matches(image.lower(), BUILT_IN, n=1, cutoff=0.5)
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


def _drawn_size(setup: Setup) -> Iterator[str]:
    if not Path(setup.target.image).suffix:
        return
    for key in ("width", "height", "angle", "contrast"):
        if key in setup.texts["target"]:
            yield (
                f"target.{key}: read {shown(setup.texts['target'][key])}, but only a built-in "
                "target takes it; an image file is as large as its pixels times pixel_size"
            )


def _light(setup: Setup) -> Iterator[str]:
    spectrum = setup.light.spectrum
    if spectrum.illuminance_is_meaningful:
        return
    for name, key in product(LIGHTS, ("illuminance", "lamp_illuminance")):
        if key not in setup.texts.get(name, {}):
            continue
        yield (
            f"{name}.{key}: read {shown(setup.texts[name][key])}, but the eye "
            f'sees next to nothing of the light "{spectrum.name}" (share weighted by V(λ): '
            f"{spectrum.visible_share:.2g}), so lux say nothing about its power; expected W/m² "
            'instead, for example irradiance = "120 W/m^2"'
        )


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
            f"acquisition.line_rate: read {shown(setup.texts['acquisition']['line_rate'])}, but an "
            'encoder starts the lines; expected "matched", "square" or a transport.encoder_divider'
        )
    if transport.trigger == "clock" and (given or transport.encoder_divider is not None):
        yield (
            'transport.trigger: read "clock" (the default), but encoder keys are given; '
            'expected trigger = "encoder", or no encoder_step and encoder_divider'
        )


def _defect(setup: Setup) -> Iterator[str]:
    need, texts = setup.requirement, setup.texts["requirement"]
    if need.defect_relief is not None:
        yield from _beside_relief(setup)
    elif need.defect_length_um is not None and need.defect_shape == "disc":
        yield (
            f"requirement.defect_length: read {shown(texts['defect_length'])}, "
            'but a disc has none; expected defect_shape = "scratch-along" or "scratch-across"'
        )


def _beside_relief(setup: Setup) -> Iterator[str]:
    need, texts = setup.requirement, setup.texts["requirement"]
    for key in ("smallest_defect", "defect_length"):
        if key in texts:
            yield (
                f"requirement.{key}: read {shown(texts[key])}, but defect_relief has its own "
                "width and length; leave one of the two out"
            )
    if need.defect_shape != "disc":
        yield (
            f"requirement.defect_shape: read {shown(need.defect_shape)}, but the kind of "
            "defect_relief is its shape; leave one of the two out"
        )
    if isinstance(setup.target.gloss, str):
        yield (
            f"requirement.defect_relief: read with {shown(texts['defect_relief'])} a gloss that is "
            "an image, but the fault lies on one gloss; expected a number for target.gloss"
        )
    if need.product_reflectance is not None and setup.target.gloss:
        yield (
            f"requirement.product_reflectance: read {shown(texts['product_reflectance'])}, but "
            "what a face that mirrors sends back follows from lamp, gloss and image, and "
            "defect_relief goes by that; leave one of the two out"
        )


_CHECKS = (
    (_image, ("target.image",)),
    (_drawn_size, ("target.image",)),
    (slowest_is_slower, (SPEED, SLOWEST)),
    (_light, ("light.illuminance", "light.irradiance", "light.spectrum")),
    (
        _encoder,
        (
            "transport.trigger",
            "transport.encoder_step",
            "transport.encoder_divider",
            "acquisition.line_rate",
        ),
    ),
    (
        rows_make_the_pixel,
        (
            "camera.rows",
            "camera.pixels",
            "camera.pixel_width",
            "camera.pixel_height",
            "camera.row_heights",
            "acquisition.binning",
            "acquisition.row_height",
        ),
    ),
    (
        binning_is_possible,
        (
            "acquisition.binning",
            "acquisition.binning_domain",
            "acquisition.binning_mode",
            "acquisition.binning_along",
        ),
    ),
    (
        one_value_for_one_channel,
        (
            "camera.kind",
            "camera.light_share",
            "camera.quantum_efficiency",
            "lens.axial_colour",
            "lens.lateral_colour",
        ),
    ),
    (registration_is_of_a_prism, ("camera.kind", "camera.registration")),
    (lens_is_in_front, ("lens.working_distance", "lens.focal_length")),
    (
        field_reaches_the_ends,
        (*(f"lens.{key}" for key in OVER_FIELD_KEYS), "camera.pixels", "camera.pixel_width"),
    ),
    (sensor_holds_together, SENSOR_KEYS),
    (
        faults_have_what_they_need,
        (
            "transport.flutter",
            "transport.encoder_turn_error",
            "transport.encoder_turn_length",
            "transport.trigger",
            "lens.focal_length",
            "camera.kind",
            "camera.line_spacing",
        ),
    ),
    (ambient_is_seen, ("light.ambient", "light.spectrum")),
    (surface_is_whole, SURFACE_KEYS),
    (lights_take_turns, ("light.multiplexed", "light.turn", "camera.tdi_stages", *LIGHTS[1:])),
    (rate_has_a_pulse, ("light.pulse", "light.max_pulse_rate")),
    (format_holds_the_samples, ("camera.pixel_format", "camera.bit_depth", "camera.kind")),
    (black_leaves_room, ("camera.black_level", "camera.bit_depth")),
    (
        _defect,
        (
            "requirement.defect_length",
            "requirement.defect_shape",
            "requirement.defect_relief",
            "target.gloss",
        ),
    ),
)
"""Each check, and the keys that it looks at."""


def broken_relations(setup: Setup, faulty: frozenset[str] = frozenset()) -> Iterator[str]:
    """
    Find values that are fine alone and wrong together.

    Checks that look at what is ``faulty``, sections and dotted keys already refused, are left out.
    """
    for check, keys in _CHECKS:
        if faulty.isdisjoint({*keys, *(key.partition(".")[0] for key in keys)}):
            yield from check(setup)
