"""What the page lets people move: key, unit, range and scale of each control."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from linesim.forward.lens import optics
from linesim.forward.station import station
from linesim.setup.setup import Setup
from linesim.setup.surface import PLACED

SHARE = "exposure_share"
"""Stands for an exposure as part of the longest that the line period leaves."""
_BINNINGS = ("1x1", "2x1", "1x2", "2x2", "3x3", "4x4")


@dataclass(frozen=True, slots=True, kw_only=True)
class Slider:
    """A number that may be moved."""

    key: str
    label: str
    group: str
    unit: str = ""
    limits: tuple[float, float]
    log: bool = False
    read: Callable[[Setup], float]
    whole: bool = False

    def told(self, setup: Setup) -> dict[str, Any]:
        """Describe it for the page, with where a setup has it."""
        return {
            "kind": "slider",
            "key": self.key,
            "label": self.label,
            "group": self.group,
            "unit": self.unit,
            "low": self.limits[0],
            "high": self.limits[1],
            "log": self.log,
            "whole": self.whole,
            "value": self.read(setup),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Picker:
    """One of a few words or numbers."""

    key: str
    label: str
    group: str
    choices: tuple[str | int, ...]

    def told(self, setup: Setup) -> dict[str, Any]:
        """Describe it for the page; what the setup has is among the choices."""
        section, _, key = self.key.partition(".")
        own = setup.texts[section][key]
        return {
            "kind": "picker",
            "key": self.key,
            "label": self.label,
            "group": self.group,
            "choices": list(self.choices) if own in self.choices else [own, *self.choices],
            "value": own,
        }


def _lights(setup: Setup) -> Iterator[Slider]:
    """Light of the first lamp, and the places of all that stand somewhere."""
    yield _light(setup)
    for number, (name, light) in enumerate(setup.named_lights.items()):
        if light.arrangement in PLACED:
            yield Slider(
                key=f"{name}.angle",
                label="Angle of the lamp" if number == 0 else f"Angle of lamp {number + 1}",
                group="Light",
                unit="deg",
                limits=(-80.0, 80.0),
                read=partial(_angle_deg, number),
            )


def _angle_deg(number: int, setup: Setup) -> float:
    return setup.lights[number].angle_deg or 0.0


def _klx(setup: Setup) -> float:
    return (setup.light.lamp_illuminance_lx or setup.light.illuminance_lx or 0.0) / 1000


def _light(setup: Setup) -> Slider:
    if setup.light.irradiance_w_m2 is None:
        sheet = setup.light.lamp_illuminance_lx is not None
        return Slider(
            key="light.lamp_illuminance" if sheet else "light.illuminance",
            label="Illuminance of the lamp's sheet" if sheet else "Illuminance at the target",
            group="Light",
            unit="klx",
            limits=(0.1, 2000.0),
            log=True,
            read=_klx,
        )
    return Slider(
        key="light.irradiance",
        label="Irradiance at the target",
        group="Light",
        unit="W/m^2",
        limits=(0.1, 10_000.0),
        log=True,
        read=lambda each: each.light.irradiance_w_m2 or 0.0,
    )


def share_of_longest(setup: Setup) -> float:
    """Tell which part of the longest possible exposure a setup takes."""
    when = station(setup).timing
    longest_us = float(when.longest_exposure_us)
    return float(when.exposure_us) / longest_us if longest_us > 0 else 1.0


_SLIDERS = (
    Slider(
        key="lens.f_number",
        label="f-number",
        group="Lens",
        limits=(1.0, 32.0),
        log=True,
        read=lambda setup: setup.lens.f_number,
    ),
    Slider(
        key="lens.defocus",
        label="Distance from best focus",
        group="Lens",
        unit="mm",
        limits=(-5.0, 5.0),
        read=lambda setup: float(optics(setup).defocus_mm),
    ),
    Slider(
        key="lens.blur",
        label="Rest blur at the sensor (sigma)",
        group="Lens",
        unit="um",
        limits=(0.0, 20.0),
        read=lambda setup: float(optics(setup).blur_um),
    ),
    Slider(
        key="transport.speed",
        label="Speed",
        group="Travel and time",
        unit="m/min",
        limits=(1.0, 1000.0),
        log=True,
        read=lambda setup: setup.transport.speed_mm_s * 60 / 1000,
    ),
    Slider(
        key=SHARE,
        label="Share of the line period exposed",
        group="Travel and time",
        limits=(0.01, 1.0),
        log=True,
        read=share_of_longest,
    ),
    Slider(
        key="camera.read_noise",
        label="Read noise",
        group="Sensor",
        unit="e",
        limits=(0.0, 100.0),
        read=lambda setup: setup.camera.read_noise_e,
    ),
    Slider(
        key="camera.full_well",
        label="Full well",
        group="Sensor",
        unit="ke",
        limits=(1.0, 500.0),
        log=True,
        read=lambda setup: setup.camera.full_well_e / 1000,
    ),
    Slider(
        key="camera.gain",
        label="Gain",
        group="Numbers",
        unit="DN/e",
        limits=(0.001, 10.0),
        log=True,
        read=lambda setup: setup.gain_dn_e,
    ),
)
_PICKERS = (
    Picker(
        key="acquisition.line_rate",
        label="Line rate",
        group="Travel and time",
        choices=("matched", "square"),
    ),
    Picker(
        key="acquisition.binning",
        label="Binning, across x along",
        group="Sensor",
        choices=_BINNINGS,
    ),
    Picker(
        key="acquisition.binning_domain",
        label="Binning domain",
        group="Sensor",
        choices=("charge", "digital"),
    ),
    Picker(
        key="acquisition.binning_along",
        label="Along travel, join",
        group="Sensor",
        choices=("rows", "lines"),
    ),
    Picker(
        key="acquisition.binning_mode",
        label="Joined numbers give their",
        group="Sensor",
        choices=("sum", "average"),
    ),
    Picker(key="camera.bit_depth", label="Bits", group="Numbers", choices=(8, 10, 12, 14, 16)),
)
_ORDER = ("Light", "Lens", "Travel and time", "Sensor", "Numbers")


def controls(setup: Setup) -> Iterator[Slider | Picker]:
    """List what may be moved, in the order of the light."""
    known: tuple[Slider | Picker, ...] = (*_lights(setup), *_SLIDERS, *_PICKERS)
    for group in _ORDER:
        yield from (each for each in known if each.group == group)
