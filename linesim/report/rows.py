"""Figures in words: by group with their units, as console and page show them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Any, NamedTuple

from linesim.figures.budget import Budget
from linesim.figures.case import values
from linesim.figures.clipping import nearest_place, place_of_white
from linesim.figures.groups import ENDS
from linesim.figures.places import worst_name
from linesim.figures.plain_numbers import (
    alarms,
    chance,
    change_words,
    digits,
    fill_words,
    percent,
    rate,
    significant,
)
from linesim.figures.understood import understood_words
from linesim.forward.station import station
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup

_RULES = 0.5
"""Share of the noise from which on a texture decides what is found."""


class _Said(NamedTuple):
    """A row: what stands in front, the figures, once behind all colours, and at the ends."""

    label: str
    text: str
    behind: str = ""
    ends: str = ""


_LABELS: dict[str, tuple[_Said, ...]] = {
    "geometry": (
        _Said("object pixel", "{object_pixel_x_um:.4g} x {object_pixel_y_um:.4g} um "
              "(across x along)"),
        _Said("line advance", "{line_advance_um:.4g} um, coverage {coverage:.3g}, "
              "pixel aspect {pixel_aspect:.3g}"),
        _Said("image", "{image_width_px} px x {image_lines} lines"),
        _Said("field of view", "{field_of_view_mm:.4g} mm, scan length {scan_length_mm:.4g} mm"),
        _Said("line rate", "{line_rate_hz:rate} (matched {matched_line_rate_hz:rate}, "
              "square {square_line_rate_hz:rate})"),
        _Said("fastest for the camera", "{max_speed_mm_s:.4g} mm/s"),
        _Said("image data", "{data_rate_mb_s:.4g} MB/s"),
        _Said("depth of field", "{depth_of_field_mm:.3g} mm"),
        _Said("working distance", "{working_distance_mm:.4g} mm"),
        _Said("colour offset from green", "{misregistration_px:z.3g}", " lines"),
        _Said("its swing by speed ripple", "{misregistration_swing_px:z.3g}", " lines"),
        _Said("across, at the line's ends", "{misregistration_x_px:z.3g}", " pixels"),
    ),
    "exposure": (
        _Said("exposure", "{exposure_us:.4g} us of {line_period_us:.4g} us (duty {duty:part})"),
        _Said("lamp's pulse", "{pulse_us:.4g} us; on average {mean_irradiance_w_m2:.4g} W/m² on "
              "the target"),
        _Said("motion blur", "{motion_blur_um:.4g} um ({motion_blur_px:.3g} object pixels)"),
    ),
    "limits": (
        _Said("line rate of the camera", "{line_rate_needed}", " ({line_rate_share:part})"),
        _Said("data on the link", "{link_needed}", " ({link_share:part})"),
        _Said("pulse rate of the lamp", "{pulse_rate_needed}", " ({pulse_rate_share:part})"),
        _Said("exposure time", "{exposure_needed}", " ({exposure_share:part})"),
        _Said("brightest part", "{clipping_share:part}", " of {clipping_limit}, noise included"),
    ),
    "signal": (
        _Said("irradiance on the target", "{irradiance_target_w_m2:.3g} W/m²"),
        _Said("radiant power of the lamp", "{lamp_power_w_m:.3g} W per metre"),
        _Said("irradiance on the sensor", "{irradiance_sensor_w_m2:.3g} W/m²"),
        _Said("white", "{electrons_white:three} e, noise {noise_white_e:.3g} e, {dn_white:.4g} DN",
              ends="{electrons_white_ends:three} e"),
        _Said("product", "{electrons_product:three} e, {dn_product:.4g} DN",
              ends="{electrons_product_ends:three} e"),
        _Said("dark signal", "{dark_e:.3g} e"),
        _Said("SNR on white", "{snr_white:.3g} ({snr_white_db:.3g} dB), "
              "with fixed pattern {snr_total_white:.3g}", "{white_clips}",
              ends="{snr_white_ends:.3g}"),
        _Said("radiance factor", "{radiance_factor:.3g}"),
        _Said("SNR on the product", "{snr_product:.3g}", ends="{snr_product_ends:.3g}"),
        _Said("white needs", "{saturation_white:fill}", " {saturation_place}"),
    ),
    "camera": (
        _Said("dark noise", "{dark_noise_e:.3g} e"),
        _Said("sensitivity threshold", "{threshold_e:.3g} e"),
        _Said("saturation capacity", "{saturation_e:three} e, SNR there {snr_max:.3g} "
              "({snr_max_db:.3g} dB)"),
        _Said("dynamic range", "{dynamic_range:three} ({dynamic_range_db:.3g} dB)"),
    ),
    "resolution": (
        _Said("Nyquist", "{nyquist_x_lp_mm:.4g} / {nyquist_y_lp_mm:.4g} lp/mm (across / along)"),
        _Said("MTF at Nyquist", "{mtf_nyquist_x:.2f} / {mtf_nyquist_y:.2f}, "
              "motion alone {mtf_motion_nyquist_y:.2f}",
              ends="{mtf_nyquist_x_ends:.2f} / {mtf_nyquist_y_ends:.2f}"),
        _Said("MTF50", "{mtf50_x_lp_mm:.3g} / {mtf50_y_lp_mm:.3g} lp/mm on the target",
              ends="{mtf50_x_lp_mm_ends:.3g} / {mtf50_y_lp_mm_ends:.3g}"),
    ),
    "detection": (
        _Said("required defect", "{defect_px_x:.3g} x {defect_px_y:.3g} px"),
        _Said("contrast of the fault", "{defect_contrast:change}"),
        _Said("contrast to noise ratio", "{defect_cnr:.3g} per sample",
              ends="{defect_cnr_ends:.3g}"),
        _Said("found", "{detection_rate:chance} (d′ {defect_dprime:.3g})",
              ends="{detection_rate_ends:chance} (d′ {defect_dprime_ends:.3g})"),
        _Said("false alarms", "{false_alarms_per_m2:alarms}, at {wanted_rate:chance} detection",
              ends="{false_alarms_per_m2_ends:alarms}"),
        _Said("smallest disc found", "{smallest_detectable_um:.3g} um",
              ends="{smallest_detectable_um_ends:.3g} um"),
        _Said("thinnest scratch found", "{smallest_width_um:.3g} um",
              ends="{smallest_width_um_ends:.3g} um"),
        _Said("narrowest such fault found", "{smallest_relief_um:.3g} um",
              ends="{smallest_relief_um_ends:.3g} um"),
        _Said("product texture", "{texture_share:texture}"),
        _Said("alarm threshold", "{alarm_threshold:.3g}", " sigma"),
        _Said("disc at d′ 5 (Rose)", "{rose_diameter_um:.3g}", " um"),
        _Said("false alarms at d′ 5", "{rose_false_alarms_per_m2:alarms}"),
    ),
}  # fmt: skip
_SHEET = "taken from the data sheet"
_WORST = {
    "ends": "; at the ends",
    "aged": "; lamp aged",
    "aged ends": "; at the ends, lamp aged",
}
_MEASURED = (
    _Said("white", "{electrons_white:three} e, noise {noise_white_e:.3g} e, {dn_white:.4g} DN"),
    _Said("SNR on white", "{snr_white:.3g} ({snr_white_db:.3g} dB), "
          "with fixed pattern {snr_total_white:.3g}"),
    _Said("MTF at Nyquist across", "{mtf_nyquist_x:.2f}, MTF50 {mtf50_x_lp_mm:.3g} lp/mm"),
    _Said("MTF at Nyquist along", "{mtf_nyquist_y:.2f}, MTF50 {mtf50_y_lp_mm:.3g} lp/mm"),
    _Said("samples", "{dn_min} to {dn_max} DN, mean {dn_mean:.4g}, at full scale "
          "{share_at_full_scale:part}"),
)  # fmt: skip


def _texture(share: float) -> str:
    """Say what more light would do where the product's own texture is most of the noise."""
    rules = ": more light does not help" if share > _RULES else ""
    return f"{percent(share)} of the noise{rules}"


_FORMS: Mapping[str, Callable[[float], str]] = {
    "rate": lambda value: rate(value, 4),
    "chance": chance,
    "alarms": alarms,
    "part": percent,
    "three": significant,
    "texture": _texture,
    "fill": fill_words,
    "change": change_words,
}


class _Words(Formatter):
    """Writes numbers as people do, by a form's name or to some digits."""

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401 -- as Formatter has it
        """Write one value."""
        if format_spec in _FORMS:
            return _FORMS[format_spec](float(value))
        if format_spec.endswith("g"):
            return digits(float(value), int(format_spec[:-1].rpartition(".")[2]))
        return str(super().format_field(value, format_spec))


_WORDS = _Words()


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of figures, in words."""

    label: str
    colour: str
    text: str


def _row(said: _Said, values: Mapping[str, object]) -> list[Row]:
    """Fill one row; a row that lacks a figure is left out."""
    label, behind = said.label, said.behind
    if not all(name in values for name in _names(said.text + behind)):
        return []
    text = said.text + _at_ends(said, values)
    if any(isinstance(values[name], Mapping) for name in _names(behind)):
        text, behind = text + behind, ""
    by_colour = [name for name in _names(text + behind) if isinstance(values[name], Mapping)]
    if not by_colour:
        return [Row(label=label, colour="", text=_WORDS.vformat(text + behind, (), values))]
    filled = {colour: _WORDS.vformat(text, (), _of(colour, values)) for colour in COLOURS}
    if len(by_colour) == 1:  # short enough to stand side by side
        beside = ", ".join(f"{colour} {each}" for colour, each in filled.items())
        return [Row(label=label, colour="", text=beside + _WORDS.vformat(behind, (), values))]
    return [Row(label=label, colour=colour, text=each) for colour, each in filled.items()]


def _names(text: str) -> list[str]:
    return [name for _, name, _, _ in Formatter().parse(text) if name]


def _at_ends(said: _Said, values: Mapping[str, object]) -> str:
    """Give what stands there for the ends of the line; nothing where they are as the middle."""
    names = _names(said.ends)
    if not any(name.endswith(ENDS) for name in values):
        return ""
    if all(values.get(name) == values.get(name.removesuffix(ENDS)) for name in names):
        return ""
    place = values["worst_place"]
    return f"{place} {said.ends}" if all(n in values for n in names) else f"{place} none"


def _of(colour: str, values: Mapping[str, object]) -> dict[str, object]:
    """Give the figures of one colour, and those that all colours share."""
    return {
        name: value[colour] if isinstance(value, Mapping) else value
        for name, value in values.items()
    }


def _rows(group: Mapping[str, object], labels: tuple[_Said, ...]) -> tuple[Row, ...]:
    return tuple(row for said in labels for row in _row(said, group))


def figure_rows(setup: Setup, found: Budget) -> dict[str, tuple[Row, ...]]:
    """Put all figures of a budget into words."""
    wanted = {**found["detection"], "wanted_rate": setup.wanted_detection_rate}
    groups = {**found.groups, "limits": _limits(setup, found), "signal": _signal(found)}
    groups["detection"] = wanted
    place = dict.fromkeys(_LABELS, _WORST[worst_name(setup, even=False)])
    # no lens ages
    place["resolution"] = _WORST["ends"]
    taken = tuple(Row(label=name, colour="", text=text) for name, text in understood_words(setup))
    return ({_SHEET: taken} if taken else {}) | {
        name: _rows({**groups[name], "worst_place": place[name]}, labels)
        for name, labels in _LABELS.items()
    }


def _signal(found: Budget) -> dict[str, object]:
    """Say beside the linear model's SNR where white does not get that far."""
    signal = found["signal"]
    clips = max(values(signal["saturation_white"])) > 1
    said = "; as if nothing clipped, but white does" if clips else ""
    return {**signal, "white_clips": said, "saturation_place": place_of_white(signal)}


def _limits(setup: Setup, found: Budget) -> dict[str, object]:
    """Set beside each share of a limit what is needed and what there is."""
    shares, camera, numbers = found["limits"], setup.camera, station(setup)
    limits: dict[str, object] = dict(shares)
    if camera.max_line_rate_hz is not None:
        needed = rate(camera.max_line_rate_hz * max(values(shares["line_rate_share"])))
        limits["line_rate_needed"] = f"{needed} of the camera's {rate(camera.max_line_rate_hz)}"
    if camera.link_mb_s is not None:
        needed = digits(camera.link_mb_s * max(values(shares["link_share"])))
        limits["link_needed"] = f"{needed} MB/s of the link's {digits(camera.link_mb_s)} MB/s"
    most_hz = setup.light.max_pulse_rate_hz
    if most_hz is not None:
        needed = rate(most_hz * max(values(shares["pulse_rate_share"])))
        limits["pulse_rate_needed"] = f"{needed} of the lamp's {rate(most_hz)}"
    when = numbers.timing
    left_us = digits(float(when.longest_exposure_us), 4)
    limits["exposure_needed"] = f"{digits(float(when.exposure_us), 4)} us of {left_us} us available"
    limits["clipping_limit"] = nearest_place(numbers, max(values(shares["clipping_share"])))
    return limits


def measured_rows(read_off: Mapping[str, object]) -> tuple[Row, ...]:
    """Put what was measured on an image into words."""
    return _rows(read_off, _MEASURED)
