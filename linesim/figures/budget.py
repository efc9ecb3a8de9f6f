"""The budget of one setup: figures by group, cautions and verdicts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from linesim.figures.case import Value, values
from linesim.figures.cautions import Caution, cautions
from linesim.figures.detection import Search, detection_group, search
from linesim.figures.groups import (
    camera_group,
    exposure_group,
    geometry_group,
    limits_group,
    lit_group,
    reach,
)
from linesim.figures.places import is_even, with_ends
from linesim.figures.resolution import sharpness_group
from linesim.figures.understood import understood_group
from linesim.figures.verdicts import Verdict, verdicts
from linesim.forward.channels import (
    misregistration_px,
    misregistration_swing_px,
    misregistration_x_px,
)
from linesim.forward.geometry import Figure
from linesim.forward.station import Station, station
from linesim.setup.arguments import checked_setup
from linesim.setup.arrays import FloatArray
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup
from linesim.setup.speeds import at_slowest
from linesim.targets.faces.face import face_of
from linesim.targets.load import TargetSize, target_size

_WHOLE = ("image_width_px", "image_lines")
_TIE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Figures, cautions and verdicts of one setup."""

    # group -> figure -> value, the unit as suffix of the name
    groups: Mapping[str, Mapping[str, Value]]
    cautions: tuple[Caution, ...]
    verdicts: tuple[Verdict, ...]  # each requirement against what was reached

    def as_dict(self) -> dict[str, object]:
        """Nest everything as JSON has it."""
        return {
            **{name: dict(group) for name, group in self.groups.items()},
            "cautions": [caution.as_dict() for caution in self.cautions],
            "verdicts": [verdict.as_dict() for verdict in self.verdicts],
        }

    def number(self, group: str, name: str) -> float:
        """Give one figure that is a single number."""
        (value,) = values(self.groups[group][name])
        return value

    def __getitem__(self, group: str) -> Mapping[str, Value]:
        """Give one group."""
        return self.groups[group]


def scan_lines(setup: Setup, numbers: Station, size: TargetSize) -> int:
    """Count the lines of a scan: as asked, or as many as lie on the target."""
    if setup.acquisition.lines is not None:
        return setup.acquisition.lines
    length_mm = setup.acquisition.length_mm
    if length_mm is None:
        length_mm = size.rows * setup.target.pixel_size_um / 1000
    # a length of whole lines must not lose one to rounding
    return max(1, int(1000 * length_mm / float(numbers.timing.line_advance_um) + 1e-6))


def saturation_limit(numbers: Station) -> str:
    """Name the limit that an even white target reaches first."""
    limits = {name: float(np.min(limit)) for name, limit in numbers.limits_e.items()}
    nearest = min(limits.values())
    return next(name for name, limit in limits.items() if limit <= nearest * (1 + _TIE))


def _plain(group: Mapping[str, object]) -> dict[str, Value]:
    """Leave plain, finite numbers, one a colour where they differ; none where there is no value."""
    values = {name: np.asarray(value, dtype=np.float64) for name, value in group.items()}
    return {name: _value(name, value) for name, value in values.items() if np.isfinite(value).all()}


def _value(name: str, value: FloatArray) -> Value:
    if value.ndim:
        return dict(zip(COLOURS, value.tolist(), strict=True))
    return int(value) if name in _WHOLE else float(value)


def budget(setup: Setup) -> Budget:
    """Work out the closed-form figures of a setup."""
    return budget_on(setup, target_size(checked_setup(setup)))


def budget_on(setup: Setup, size: TargetSize) -> Budget:
    """
    Work out the closed-form figures of a setup in front of a target of some size.

    Of a range of speeds the figures are those of the fastest; each verdict is the weaker of both.
    """
    found, slow = _at_one_speed(setup, size), at_slowest(setup)
    return found if slow is None else _at_both(found, slow, _at_one_speed(slow, size))


def _at_both(fast: Budget, slow: Setup, then: Budget) -> Budget:
    """Hold what is judged at both speeds; cautions that only the slowest gives are told so."""
    pairs = zip(fast.verdicts, then.verdicts, strict=True)
    known = {each.code for each in fast.cautions}
    more = tuple(
        replace(each, text=f"At {slow.texts['transport']['speed']}: {each.text}")
        for each in then.cautions
        if each.code not in known
    )
    weaker = tuple(
        replace(now, speed="fastest")
        if now.margin <= later.margin
        else replace(later, speed="slowest")
        for now, later in pairs
    )
    return Budget(groups=fast.groups, cautions=(*fast.cautions, *more), verdicts=weaker)


def _at_one_speed(setup: Setup, size: TargetSize) -> Budget:
    numbers, wanted = station(setup), search(setup, size)
    groups: dict[str, dict[str, Value]] = {
        "geometry": _plain(geometry_of(setup, numbers, size)),
        "exposure": _plain(exposure_group(numbers)),
        "limits": _plain(limits_group(numbers, reach(setup), wanted.brightest)),
        "signal": _plain(with_ends(numbers, wanted, _lit)),
        "camera": _plain(camera_group(numbers)),
        "resolution": _plain(sharpness_group(numbers)),
        "detection": _plain(with_ends(numbers, wanted, detection_group)),
    }
    groups["signal"]["saturation_limit"] = saturation_limit(numbers)
    groups["signal"] |= _plain(lamp_power(setup))
    groups["exposure"] |= _plain(_pulse(setup, numbers))
    if face_of(setup) is not None:
        level = wanted.product * setup.target.white_reflectance
        groups["signal"] |= _plain({"radiance_factor": level})
    if taken := understood_group(setup):
        groups["understood"] = taken
    return Budget(
        groups=groups,
        cautions=cautions(setup, numbers, groups, size),
        verdicts=verdicts(setup, numbers, groups, even=is_even(numbers, wanted)),
    )


def lamp_power(setup: Setup) -> dict[str, Figure]:
    """
    Give the radiant power that leaves a metre of the lamps, where their width is known.

    A face of even radiance L sends out π L a square metre; L is the irradiance of the level target
    over `Strip.level`.
    """
    widths_mm = [light.lamp_width_mm for light in setup.lights]
    power_w_m = [
        np.pi * lamp.radiance_w_m2_sr * (width_mm or 0.0) / 1000
        for lamp, width_mm in zip(setup.lamps, widths_mm, strict=True)
    ]
    return {"lamp_power_w_m": sum(power_w_m)} if all(widths_mm) else {}


def _pulse(setup: Setup, numbers: Station) -> dict[str, Figure]:
    """Give a lamp's pulse, and what it throws on the target on average, once a line."""
    if setup.light.pulse_us is None:
        return {}
    share = setup.light.pulse_us / numbers.timing.line_period_us
    mean_w_m2 = setup.irradiance_w_m2 * share + setup.ambient_w_m2
    return {"pulse_us": setup.light.pulse_us, "mean_irradiance_w_m2": mean_w_m2}


def _lit(numbers: Station, wanted: Search) -> dict[str, Figure]:
    return lit_group(numbers, wanted.product)


def geometry_of(setup: Setup, numbers: Station, size: TargetSize) -> dict[str, Figure]:
    """Give all figures of the geometry, those that a station alone does not tell included."""
    camera = setup.camera
    group = geometry_group(numbers, scan_lines(setup, numbers, size), reach(setup))
    if setup.lens.focal_length_mm is not None:
        group["working_distance_mm"] = setup.working_distance_mm
    if camera.max_line_rate_hz is not None:
        advance_um = numbers.timing.exposed_advance_um / numbers.timing.turns
        group["max_speed_mm_s"] = camera.max_line_rate_hz * advance_um / 1000
    if camera.kind != "mono":
        group["misregistration_px"] = misregistration_px(setup, numbers)
        group["misregistration_swing_px"] = misregistration_swing_px(setup, numbers)
        across = misregistration_x_px(setup, numbers)
        group |= {} if across is None else {"misregistration_x_px": across}
    return group
