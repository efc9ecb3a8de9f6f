"""Variants that differ in where the lamp stands: bright field, dark field, even light, back."""

from collections.abc import Sequence
from math import atan, degrees

from linesim.setup.errors import refuse
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.setup.surface import HORIZON_DEG, LAMP_KEYS, PLACED
from linesim.studies.compare.variants import Variant, alike, each_made
from linesim.targets.faces.face import face_of

ARRANGEMENTS = ("bright field", "dark field", "even", "back")
_WIDTH_DEG = 20.0
"""Of a lamp, where the setup has none that stands somewhere; our choice."""
_MATT_DEG = 45.0
"""From the mirror direction, in dark field on a face that mirrors nothing; common practice, no
source."""
_LOBE = 3.0
"""Rms slopes within which the facets of a level face lie: beyond it is dark."""
_SHEET = ("lamp_illuminance", "lamp_stated_distance")
_LAMP = tuple(key for key in LAMP_KEYS if key not in _SHEET)


def light_variants(
    setup: Setup, texts: Sequence[str], *, exposure: str | None = None, keep_line_rate: bool = False
) -> tuple[Variant, ...]:
    """
    Make a variant for each arrangement of the light, with the same light on the target.

    A lamp that stands somewhere keeps its width, its distance and its length. Of "bright field",
    "dark field", "even" and "back" all but "even" may have an angle behind them ("dark field 60
    deg"). Left out, bright field is the mirror of the camera, back its line of sight, and dark
    field the nearest angle at which a level face mirrors nothing of the lamp.
    """
    if len(setup.lights) > 1:
        refuse(
            f"lights: read a setup of {len(setup.lights)} lamps, but arrangements move one; "
            "expected a single [light], or --set with the keys of each"
        )
    made = each_made(texts, lambda text: _variant(setup, text))
    return alike(setup, made, exposure=exposure, keep_line_rate=keep_line_rate)


def _variant(setup: Setup, text: str) -> Variant:
    name = next((each for each in ARRANGEMENTS if text.strip().startswith(each)), None)
    if name is None:
        refuse(f"read {shown(text)}; expected of {', '.join(ARRANGEMENTS)}, an angle may follow")
    angle = text.strip().removeprefix(name).strip()
    same = {
        **dict.fromkeys(f"light.{key}" for key in (*_SHEET, "illuminance")),
        "light.irradiance": f"{setup.irradiance_w_m2!r} W/m^2",
    }
    lit = same if setup.light.lamp_illuminance_lx is not None else {}
    if name == "even":
        if angle:
            refuse(f'read {shown(text)}, but even light has no angle; expected "even"')
        plain = {**dict.fromkeys(f"light.{key}" for key in _LAMP), **lit}
        return Variant(title=name, setup=changed(setup, plain))
    placed = {
        **lit,
        **_lamp(setup),
        "light.arrangement": "back" if name == "back" else "line",
        "light.angle": angle or f"{_angle_deg(setup, name):.6g} deg",
    }
    return Variant(title=" ".join(text.split()), setup=changed(setup, placed))


def _lamp(setup: Setup) -> dict[str, object]:
    """Keep the lamp that there is, or take one."""
    if setup.light.arrangement in PLACED:
        return {}
    return {"light.angular_width": f"{_WIDTH_DEG:g} deg"}


def _angle_deg(setup: Setup, name: str) -> float:
    """Choose where the lamp stands."""
    view_deg = setup.camera.angle_deg or 0.0
    if name != "dark field":
        return view_deg
    placed = setup.light.arrangement in PLACED
    half_deg = (setup.light.seen_width_deg if placed else _WIDTH_DEG) / 2
    face, off_deg = face_of(setup), _MATT_DEG
    if face is not None and face.finish is not None:
        # a slope turns light by twice its angle
        off_deg = half_deg + 2 * degrees(atan(_LOBE * face.finish.rms_along))
    away = view_deg + off_deg
    # where the lamp would reach below the target it goes to the other side
    return away if away + half_deg < HORIZON_DEG else view_deg - off_deg
