"""What the keys of lamp and surface demand of one another."""

from collections.abc import Iterator, Mapping
from typing import Any

from linesim.setup.errors import InputError, refuse
from linesim.setup.infiles import existing_file
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.surface import (
    FACE_KEYS,
    FACED,
    HORIZON_DEG,
    LAMP_KEYS,
    LIGHTS,
    PLACED,
    PlacedLight,
)

SURFACE_KEYS = (
    "target.white_reflectance",
    "target.transmittance",
    "target.haze",
    *(f"target.{key}" for key in FACE_KEYS),
    *(f"{name}.{key}" for name in LIGHTS for key in LAMP_KEYS),
    *LIGHTS[1:],
)
_IMAGES = "a PNG, TIFF or JPEG image"


def surface_is_whole(setup: Setup) -> Iterator[str]:
    """Find keys of lamp and surface that do not go together."""
    yield from _lamps(setup)
    yield from _through(setup)
    yield from _facets(setup)
    yield from _relief(setup)


def one_table_a_light(texts: Mapping[str, Any]) -> Mapping[str, Any]:
    """Give each of several [[light]] tables a name of its own."""
    tables = texts.get("light")
    if not isinstance(tables, list):
        return texts
    if not 0 < len(tables) <= len(LIGHTS) or any(name in texts for name in LIGHTS[1:]):
        refuse(
            f"light: read {len(tables)} tables [[light]]; expected one to {len(LIGHTS)}, or "
            "[light], [light_2] and so on"
        )
    return {**texts, **dict(zip(LIGHTS, tables, strict=False))}


def _lamps(setup: Setup) -> Iterator[str]:
    for name, light in setup.named_lights.items():
        faults = list(_lamp(name, light, setup.texts[name]))
        yield from faults or _sheet(name, light, setup.texts[name])


def _lamp(name: str, light: PlacedLight, texts: Mapping[str, Any]) -> Iterator[str]:
    if light.arrangement not in PLACED:
        for key in LAMP_KEYS[1:]:
            if key in texts:
                yield (
                    f"{name}.{key}: read {shown(texts[key])}, but the light comes from everywhere; "
                    'expected arrangement = "line"'
                )
        return
    yield from _width(name, light, texts)
    if "angle" not in texts:
        yield (
            f'{name}.angle: nothing was read, but arrangement = "{light.arrangement}" needs it, '
            'for example angle = "20 deg"'
        )
    elif (half_deg := light.seen_width_deg / 2) + abs(light.angle_deg or 0.0) > HORIZON_DEG:
        key = "angular_width" if "angular_width" in texts else "lamp_width"
        yield (
            f"{name}.{key}: read {shown(texts.get(key))} about {shown(texts['angle'])}, "
            f"{2 * half_deg:.4g} deg in all, so that the lamp would reach below the target's "
            f"plane; expected at most {2 * (HORIZON_DEG - abs(light.angle_deg or 0.0)):.4g} deg"
        )


def _width(name: str, light: PlacedLight, texts: Mapping[str, Any]) -> Iterator[str]:
    given = [key for key in ("lamp_width", "lamp_distance") if key in texts]
    if given and "angular_width" in texts:
        yield (
            f"{name}.angular_width: read {shown(texts['angular_width'])} and {given[0]} too; "
            "expected the angle, or the lamp's width and distance"
        )
    elif len(given) == 1:
        missing = "lamp_distance" if given[0] == "lamp_width" else "lamp_width"
        example = "200 mm" if missing == "lamp_distance" else "40 mm"
        yield (
            f"{name}.{missing}: nothing was read, but {given[0]} needs it, for example "
            f'{missing} = "{example}"'
        )
    elif not given and "angular_width" not in texts:
        yield (
            f'{name}.angular_width: nothing was read, but arrangement = "{light.arrangement}" '
            'needs it, for example angular_width = "10 deg", or lamp_width and lamp_distance'
        )


def _sheet(name: str, light: PlacedLight, texts: Mapping[str, Any]) -> Iterator[str]:
    """Check what a lamp's own sheet gives."""
    whole = {"lamp_length": "lamp_distance", "lamp_stated_distance": "lamp_illuminance"}
    if light.lamp_illuminance_lx is not None:
        whole["lamp_illuminance"] = "lamp_stated_distance"
        if light.lamp_distance_mm is None:
            whole["lamp_illuminance"] = "lamp_distance"
    examples = {"lamp_illuminance": "100 klx", "lamp_stated_distance": "100 mm"}
    for key, needed in whole.items():
        if key in texts and needed not in texts:
            yield (
                f"{name}.{needed}: nothing was read, but {key} needs it, for example "
                f'{needed} = "{examples.get(needed, "200 mm")}"'
            )


def _through(setup: Setup) -> Iterator[str]:
    """Check what light from behind asks of the target."""
    target = setup.target
    behind = [each.arrangement == "back" for each in setup.lights]
    if any(behind) and target.transmittance is None and target.image not in FACED:
        yield (
            'target.transmittance: nothing was read, but arrangement = "back" needs it, for '
            "example transmittance = 0.3, or an image of it"
        )
    if target.haze is not None and target.transmittance is None and target.image not in FACED:
        yield (
            f"target.haze: read {shown(target.haze)}, but it is a share of the light let through; "
            "expected transmittance too"
        )
    by_image = isinstance(target.transmittance, str) or target.image in FACED
    by_image = by_image and not setup.light.multiplexed  # then each light has a picture to itself
    if any(behind) and not all(behind) and by_image and not isinstance(target.transmittance, float):
        yield (
            f"target.transmittance: read {shown(target.transmittance or target.image)}, but light "
            "comes from the front too; expected a number, of which each pixel lets through its "
            "reflectance's share"
        )
    if any(behind) and target.white_reflectance == 0:
        yield (
            "target.white_reflectance: read 0, but light let through is told beside white; "
            "expected over 0"
        )


def lights_take_turns(setup: Setup) -> Iterator[str]:
    """Find what cannot go with lights that shine in turn."""
    light, stages = setup.light, setup.camera.tdi_stages
    if light.multiplexed and len(setup.lights) == 1:
        yield (
            "light.multiplexed: read true, but there is one light; expected two to "
            f"{len(LIGHTS)} tables [[light]], or multiplexed left out"
        )
    if light.multiplexed and light.turn is not None:
        yield (
            f'light.turn: read "{light.turn}", but lights that are multiplexed take turns as they '
            "stand in the file; leave it out"
        )
    if stages > 1 and (light.multiplexed or setup.turn.lights > 1):
        key, read = ("multiplexed", "true") if light.multiplexed else ("turn", f'"{setup.turn}"')
        yield (
            f"light.{key}: read {read}, but each of the {stages} camera.tdi_stages would be "
            "exposed under another light; expected 1 stage, or all lights at once"
        )


def _facets(setup: Setup) -> Iterator[str]:
    target, texts = setup.target, setup.texts["target"]
    pair = ("rms_slope_across", "rms_slope_along")
    given = [key for key in pair if key in texts]
    if given and target.rms_slope is not None:
        yield (
            f"target.rms_slope: read {shown(texts['rms_slope'])} and {given[0]} too; expected one "
            "slope for both directions, or one for each"
        )
    elif len(given) == 1:
        other = pair[given[0] == pair[0]]
        yield f"target.{other}: nothing was read, but {given[0]} needs it, for example 0.05"
    if target.gloss and target.white_reflectance == 0:
        yield (
            "target.white_reflectance: read 0, but a face that mirrors is told beside its white; "
            "expected over 0, and a black image where the face has no matt part"
        )
    if bool(target.gloss) != (target.rms_slope is not None or bool(given)):
        what = "gloss" if not target.gloss else "rms_slope"
        yield (
            f"target.{what}: nothing was read, but a face that mirrors has gloss and rms_slope; "
            "expected for example gloss = 0.04 and rms_slope = 0.05"
        )


def _relief(setup: Setup) -> Iterator[str]:
    target, texts = setup.target, setup.texts["target"]
    if (target.relief is None) != (target.relief_range_um is None):
        missing = "relief_range" if target.relief is not None else "relief"
        example = '"10 um"' if missing == "relief_range" else '"relief.png"'
        yield (
            f"target.{missing}: nothing was read, but relief and relief_range go together; "
            f"expected for example {missing} = {example}"
        )
    if target.relief is not None:
        try:
            existing_file(
                setup.folder / target.relief,
                key="target.relief",
                expected=_IMAGES,
                written=texts["relief"],
            )
        except InputError as fault:
            yield str(fault)
