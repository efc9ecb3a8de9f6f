"""
The wide ranges: what a station of this make may be like over its years, and how it is set up.

All are our choice, and start from the plan's own station:

light            x 0.7 to 1.3       0.7 of a new lamp's is the usual end of its service (L70)
edge_falloff     to 0.15 more       as a lamp that ends or ages unevenly
flicker          0 to 2 %           of a lamp's driver, faster than is seen to flash
defocus          0 to half the      a web that runs a little high or low
                 depth of field
blur             to half a pixel    lenses of one make differ, and go soft with dirt
                 more
speed ripple     0 to 1 %           of a drive in order
line jitter      0 to 0.1 line      of an encoder in order
read noise       x 0.8 to 1.5       sensors of one make differ, warm ones are worse
fixed pattern    x 0.5 to 2,        each image from a camera of its own, and no camera in
                 or to 0.5 %, 2 e   two splits
scale            x 1 to 1.04        the product up to 4 % larger in the picture
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from linesim.dataset.plan.splits import SPLITS
from linesim.figures.groups import geometry_group, reach
from linesim.forward.station import Station, station
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.studies.batch.axis_texts import flat_keys

WIDE = "wide"
_PATTERN = "camera.pattern_seed"
_SAME_AS = {
    "lens.magnification": ("lens.field_of_view", "lens.working_distance"),
    "lens.field_of_view": ("lens.magnification", "lens.working_distance"),
    "light.illuminance": ("light.irradiance", "light.lamp_illuminance"),
    "light.irradiance": ("light.illuminance", "light.lamp_illuminance"),
}
"""Keys that say the same as one of ours: where a plan varies one of them, ours is left out."""


def widened(table: object, base: Setup) -> tuple[object, tuple[str, ...]]:
    """Put the ranges in that a preset stands for; single keys of the plan go over them."""
    if not is_wide(table) or not isinstance(table, Mapping):
        return table, ()
    own = {key: value for key, value in table.items() if key != "preset"}
    if table["preset"] != WIDE:
        said = f'vary.preset: read {shown(table["preset"])}, but expected "{WIDE}"'
        return own, (said,)
    written = flat_keys(own)
    kept = {
        key: text
        for key, text in _ranges(base, station(base)).items()
        if key not in written
        and not any(other in written for other in _SAME_AS.get(key, ()))
        and _may_vary(base, key, text)
    }
    return {**kept, **written}, ()


def with_own_camera(changes: Mapping[str, Any], split: str) -> dict[str, Any]:
    """Give each split cameras of its own: a pattern's seed that no other split has."""
    seed = changes.get(_PATTERN)
    if not isinstance(seed, int):
        return dict(changes)
    return {**changes, _PATTERN: seed - seed % len(SPLITS) + SPLITS.index(split)}


def draws_cameras(table: object) -> bool:
    """Tell whether the preset draws the camera, and not the plan."""
    own = isinstance(table, Mapping) and _PATTERN in flat_keys(table)
    return is_wide(table) and not own


def is_wide(table: object) -> bool:
    """Tell whether a table names a preset."""
    return isinstance(table, Mapping) and "preset" in table


def _may_vary(base: Setup, key: str, text: str) -> bool:
    """Tell whether a station takes a key: some are told by others, or over the field."""
    section, _, name = key.partition(".")
    if isinstance(base.texts.get(section, {}).get(name), list | dict):
        return False
    try:
        for end in text.removesuffix(":log").split(":"):
            changed(base, {key: end if " " in end else _number(end)})
    except InputError:
        return False
    return True


def _number(text: str) -> float | int:
    return int(text) if text.isdigit() else float(text)


def _ranges(base: Setup, numbers: Station) -> dict[str, Any]:
    """Give the range of each key that the station's own values allow."""
    light, lens, camera = base.light, base.lens, base.camera
    pixel_um = camera.pixel_width_um
    line_um = float(numbers.timing.line_advance_um)
    depth_mm = float(np.max(geometry_group(numbers, 1, reach(base))["depth_of_field_mm"]))
    found = {
        "light.edge_falloff": f"{light.edge_falloff:g}:{min(light.edge_falloff + 0.15, 0.9):g}",
        "light.flicker": "0:0.02",
        "light.flicker_frequency": "65 Hz:500 Hz:log",
        "lens.defocus": f"0 mm:{depth_mm / 2:.4g} mm",
        "transport.speed_ripple": "0:0.01",
        "transport.line_jitter": f"0 um:{line_um / 10:.4g} um",
        "camera.read_noise": f"{camera.read_noise_e * 0.8:.4g} e:{camera.read_noise_e * 1.5:.4g} e",
        "camera.prnu": f"{camera.prnu / 2:.4g}:{max(2 * camera.prnu, 0.005):.4g}",
        "camera.dsnu": f"{camera.dsnu_e / 2:.4g} e:{max(2 * camera.dsnu_e, 2.0):.4g} e",
        _PATTERN: "0:9998",
    }
    if isinstance(lens.blur_um, float):
        found["lens.blur"] = f"{lens.blur_um:.4g} um:{lens.blur_um + pixel_um / 2:.4g} um"
    if light.illuminance_lx:
        lux = light.illuminance_lx
        found["light.illuminance"] = f"{0.7 * lux:.5g} lx:{1.3 * lux:.5g} lx:log"
    if light.irradiance_w_m2:
        watt = light.irradiance_w_m2
        found["light.irradiance"] = f"{0.7 * watt:.5g} W/m^2:{1.3 * watt:.5g} W/m^2:log"
    if lens.magnification:
        found["lens.magnification"] = f"{lens.magnification:.6g}:{1.04 * lens.magnification:.6g}"
    if lens.field_of_view_mm:
        field = lens.field_of_view_mm
        found["lens.field_of_view"] = f"{field / 1.04:.6g} mm:{field:.6g} mm"
    return found
