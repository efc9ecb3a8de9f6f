"""What the keys of lamp and surface demand of one another."""

from collections.abc import Iterator

from linesim.setup.errors import InputError
from linesim.setup.infiles import existing_file
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.surface import HORIZON_DEG

SURFACE_KEYS = (
    "target.white_reflectance",
    "target.gloss",
    "target.rms_slope",
    "target.rms_slope_across",
    "target.rms_slope_along",
    "target.relief",
    "target.relief_range",
    "light.arrangement",
    "light.angle",
    "light.angular_width",
)
_IMAGES = "a PNG, TIFF or JPEG image"


def surface_is_whole(setup: Setup) -> Iterator[str]:
    """
    Find keys of lamp and surface that do not go together.

    Parameters
    ----------
    setup : Setup
        Each value checked by itself.

    Yields
    ------
    str
        One sentence a fault.
    """
    yield from _lamp(setup)
    yield from _facets(setup)
    yield from _relief(setup)


def _lamp(setup: Setup) -> Iterator[str]:
    light, texts = setup.light, setup.texts["light"]
    if light.arrangement != "line":
        for key in ("angle", "angular_width"):
            if key in texts:
                yield (
                    f"light.{key}: read {shown(texts[key])}, but the light comes from everywhere; "
                    'expected arrangement = "line"'
                )
        return
    missing = [key for key in ("angle", "angular_width") if key not in texts]
    for key in missing:
        yield (
            f'light.{key}: nothing was read, but arrangement = "line" needs it, for example '
            f'{key} = "{"20 deg" if key == "angle" else "10 deg"}"'
        )
    angle_deg, half_deg = light.angle_deg or 0.0, (light.angular_width_deg or 0.0) / 2
    if not missing and abs(angle_deg) + half_deg > HORIZON_DEG:
        yield (
            f"light.angular_width: read {shown(texts['angular_width'])} about "
            f"{shown(texts['angle'])}, so that the lamp would reach below the target's plane; "
            f"expected at most {2 * (HORIZON_DEG - abs(angle_deg)):.4g} deg"
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
