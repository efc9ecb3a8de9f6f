"""The light on its way, from the lamp to the delivered number, as bars with their figures."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor, inf, log10

import numpy as np

from linesim.figures.case import Value, values
from linesim.figures.clipping import PLACES
from linesim.figures.curves import LightPath, light_path, noise_sources_e
from linesim.figures.plain_numbers import digits, people_number, percent, significant
from linesim.forward.station import Station, station
from linesim.report.page_parts import Bar, Bars
from linesim.report.setup_words import is_in_lux, lux_words
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup

_QUARTERS = 4
_LONG_POWER = 5
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_ROOM = 0.2
"""Of a decade, at least, that the shortest bar gets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A row before it has a bar."""

    label: str
    note: str
    value: float
    is_limit: bool = False
    part_of: float = 0.0  # in the same unit; none where it is no part of anything


@dataclass(frozen=True, slots=True, kw_only=True)
class LightStep:
    """A row of the light budget, with what it brings to a delivered pixel."""

    label: str
    note: str
    value: str
    level: float  # photons or electrons in a delivered pixel that it stands for
    before: float  # the same of what was there before this step; 0 where it is no step
    is_limit: bool  # whether it is a limit, not light


def _power(exponent: int) -> str:
    """Write a power of ten."""
    if abs(exponent) < _LONG_POWER:
        return people_number(10.0**exponent)
    return "10" + str(exponent).translate(_RAISED)


def _said(row: _Row) -> str:
    """Write a limit as it was given, and all else to the digits that the model knows."""
    return people_number(row.value) if row.is_limit else significant(row.value)


def _logarithmic(title: str, unit: str, rows: list[_Row]) -> Bars:
    there = [row.value for row in rows if row.value > 0] or [1.0]
    low, high = floor(log10(min(there)) - _ROOM), ceil(log10(max(there)))
    bars = tuple(
        Bar(
            label=row.label,
            note=row.note,
            value=f"{_said(row)} {unit}".strip(),
            ratio=(log10(row.value) - low) / (high - low) if row.value > 0 else 0.0,
            is_limit=row.is_limit,
        )
        for row in rows
    )
    ends = f"{_power(low)} to {_power(high)} {unit}".strip()
    return Bars(
        title=title,
        rows=bars,
        ticks=high - low,
        scale=f"bars logarithmic, {ends}, a tick a decade",
    )


def _by_colour(label: str, note: str, value: Value, part_of: float = 0.0) -> list[_Row]:
    each = values(value)
    if len(each) == 1:
        return [_Row(label=label, note=note, value=each[0], part_of=part_of)]
    return [
        _Row(label=f"{label}, {colour}", note=note, value=number, part_of=part_of)
        for colour, number in zip(COLOURS, each, strict=True)
    ]


def _lamp_words(setup: Setup) -> str:
    asked = f"{digits(setup.irradiance_w_m2, 4)} W/m²"
    if is_in_lux(setup):
        asked = lux_words(setup)
    elif len(setup.lights) == 1:
        asked = setup.texts["light"]["irradiance"]
    return f"{asked}, {setup.light.spectrum.name}"


def _light_rows(setup: Setup, numbers: Station, path: LightPath) -> list[_Row]:
    share, lens = float(numbers.optics.share_to_sensor), numbers.optics
    ambient = [
        _Row(label="ambient light", note="at the target", value=each)
        for each in (path.ambient_w_m2,)
        if each > 0
    ]
    return [
        _Row(label="lamp, at the target", note=_lamp_words(setup), value=path.lamp_w_m2),
        *ambient,
        _Row(
            label="reflected by white",
            note=f"times a reflectance of {float(numbers.white_reflectance):.3g}, matt",
            value=path.sent_back_w_m2,
            part_of=path.lamp_w_m2 + path.ambient_w_m2,
        ),
        _Row(
            label="at the sensor",
            note=f"times the lens's share, 1/{1 / share:.3g}: transmission over 4 N² with "
            f"N = {float(lens.working_f_number):.3g}, the working f-number",
            value=path.sensor_w_m2,
            part_of=path.sent_back_w_m2,
        ),
    ]


def _count_rows(
    setup: Setup, numbers: Station, path: LightPath, signal: Mapping[str, Value]
) -> list[_Row]:
    place, joined = numbers.geometry, int(numbers.geometry.pixels_joined)
    area = f"{float(place.pixel_width_um):.3g} um x {float(place.pixel_height_um):.3g} um"
    pixels = area if joined == 1 else f"{joined} times {area}"
    exposure = f"{float(numbers.timing.exposure_us):.4g} us"
    note = "those of its band that are collected"
    if setup.camera.kind == "mono":
        collected = float(numbers.electrons_per_joule) / setup.light.spectrum.photons_per_joule
        note = f"times a quantum efficiency of {collected:.3g} over this light"
    limits = [
        _Row(
            label=PLACES[name].removeprefix("the "),
            note="nearest limit" if name == signal["saturation_limit"] else "",
            value=float(np.min(limit)),
            is_limit=True,
        )
        for name, limit in numbers.limits_e.items()
        if np.min(limit) < inf
    ]
    return [
        _Row(label="photons", note=f"on {pixels} in {exposure}", value=path.photons),
        *_by_colour("electrons of white", note, signal["electrons_white"], path.photons),
        *_product_rows(signal, "electrons of the product", "electrons_product"),
        *_by_colour("noise on white", "from line to line", signal["noise_white_e"]),
        *limits,
    ]  # fmt: skip


def _product_rows(signal: Mapping[str, Value], label: str, name: str) -> list[_Row]:
    """Give product beside white where the light makes it something else than a matt share."""
    if "radiance_factor" not in signal:
        return []
    factor = ", ".join(digits(each) for each in values(signal["radiance_factor"]))
    return list(_by_colour(label, f"at a radiance factor of {factor}", signal[name]))


def _number_bars(setup: Setup, signal: Mapping[str, Value]) -> Bars:
    full_dn, black_dn = setup.full_scale_dn, setup.camera.black_level_dn
    rows = [
        _Row(label="black level", note="no light", value=black_dn),
        *_by_colour("white", "after clipping", signal["dn_white"]),
        *_product_rows(signal, "product", "dn_product"),
        _Row(
            label="full scale", note=f"{setup.camera.bit_depth} bit", value=full_dn, is_limit=True
        ),
    ]
    return Bars(
        title="Delivered number",
        rows=tuple(
            Bar(
                label=row.label,
                note=row.note,
                value=f"{people_number(row.value)} DN",
                ratio=min(row.value / full_dn, 1.0),
                is_limit=row.is_limit,
            )
            for row in rows
        ),
        ticks=_QUARTERS,
        scale="bars linear, a tick a quarter of full scale",
    )


def noise_bars(numbers: Station) -> Bars:
    """Share the noise on white out among its sources."""
    weakest = min(numbers.by_colour, key=lambda one: float(one.electrons_white))
    sources = noise_sources_e(weakest, weakest.electrons_white)
    found = {name: float(noise) for name, noise in sources.items()}
    total_e2 = sum(noise**2 for noise in found.values()) or 1.0
    which = ", weakest colour" if np.ndim(numbers.electrons_white) else ""
    return Bars(
        title=f"On white{which}, by source",
        rows=tuple(
            Bar(
                label=name,
                note="",
                value=f"{digits(noise)} e, {percent(noise**2 / total_e2, 2)}",
                ratio=noise**2 / total_e2,
            )
            for name, noise in found.items()
        ),
        ticks=_QUARTERS,
        scale="bars linear: parts of the variance, a tick a quarter",
    )


def light_bars(setup: Setup, signal: Mapping[str, Value]) -> tuple[Bars, Bars, Bars]:
    """Follow the light from the lamp to the delivered number, for a white target on the axis."""
    numbers = station(setup)
    path = light_path(setup, numbers)
    return (
        _logarithmic("Light", "W/m²", _light_rows(setup, numbers, path)),
        _logarithmic("In one delivered pixel", "", _count_rows(setup, numbers, path, signal)),
        _number_bars(setup, signal),
    )


def light_steps(setup: Setup, signal: Mapping[str, Value]) -> tuple[LightStep, ...]:
    """
    Lay the light budget of a white target on one scale, step by step.

    Irradiances stand as the photons that a delivered pixel would get of them in its exposures: a
    step is then a length, and all steps together lead from the lamp to the electrons.
    """
    numbers = station(setup)
    path = light_path(setup, numbers)
    photons = path.photons / path.sensor_w_m2 if path.sensor_w_m2 > 0 else 0.0
    parts = (
        ("W/m²", photons, _light_rows(setup, numbers, path)),
        ("", 1.0, _count_rows(setup, numbers, path, signal)),
    )
    return tuple(
        LightStep(
            label=row.label,
            note=row.note,
            value=f"{_said(row)} {unit}".strip(),
            level=scale * row.value,
            before=scale * row.part_of,
            is_limit=row.is_limit,
        )
        for unit, scale, rows in parts
        for row in rows
    )
