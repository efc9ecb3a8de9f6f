"""What was understood where a figure was written as data sheets have it, and what it hangs on."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from linesim.setup.channels import COLOURS, ByChannel
from linesim.setup.kinds import EfficiencyCurve
from linesim.setup.setup import Setup
from linesim.setup.sheet.names import plain_name
from linesim.setup.sheet.points import is_point
from linesim.setup.sheet.stated import DECIBEL, has_unit, is_inverse, t_number
from linesim.setup.shown import shown

_GAIN = ("camera.gain", "camera.full_well", "camera.bit_depth", "camera.black_level")
_PIXEL = ("camera.pixel_width", "camera.pixel_height", "camera.row_heights")
_AREA = (*_PIXEL, "acquisition.row_height", "camera.tdi_stages")
_NOISES = {"read_noise": "read noise", "dsnu": "DSNU", "line_noise": "line noise"}
_RANGES = ("dynamic_range", "dynamic_range_1288")
_EVEN = "taken as even over the wavelength"


class Note(NamedTuple):
    """A figure that follows from what was written."""

    name: str  # with its unit as last word
    label: str
    unit: str
    value: Any
    source: str  # what it was taken from, as written

    @property
    def number(self) -> float | dict[str, float] | None:
        """The value as a figure has it: a number, or one a colour; a curve is none."""
        if isinstance(self.value, ByChannel):
            by_colour = dict(zip(COLOURS, self.value, strict=True))
            curve = any(isinstance(each, EfficiencyCurve) for each in self.value)
            return None if curve else by_colour
        return None if isinstance(self.value, EfficiencyCurve) else self.value


def notes(setup: Setup) -> tuple[Note, ...]:
    """List the figures that were not written as the setup has them."""
    return (*_target(setup), *_lens(setup), *_efficiency(setup), *_noise(setup), *_numbers(setup))


def _target(setup: Setup) -> Iterator[Note]:
    size = setup.texts["target"]["pixel_size"]
    if has_unit(size, "dpi"):
        yield Note("pixel_size_um", "pixel of the image", "um", setup.target.pixel_size_um, size)


def _lens(setup: Setup) -> Iterator[Note]:
    share = setup.texts["lens"]["transmission"]
    if t_number(share) is not None:
        source = f"{share} at f/{setup.lens.f_number:g}"
        yield Note("transmission", "transmission", "", setup.lens.transmission, source)


def _efficiency(setup: Setup) -> Iterator[Note]:
    camera, found = setup.texts["camera"], setup.camera.quantum_efficiency
    key = "responsivity" if "responsivity" in camera else "quantum_efficiency"
    text = camera[key]
    if isinstance(text, Mapping) and not is_point(text):
        text = next((each for each in text.values() if isinstance(each, Mapping | list)), "")
    if not isinstance(text, Mapping | list):
        return
    even = "" if isinstance(found, EfficiencyCurve) else f", {_EVEN}"
    source = f"{said(camera[key])}{even}"
    yield Note("quantum_efficiency", "quantum efficiency", "", found, source)


def said(text: object) -> str:
    """Say a figure with its wavelength, or a list of these."""
    if isinstance(text, dict) and is_point(text):
        value = text["value"]
        return f"{value if isinstance(value, str) else shown(value)} at {text['wavelength']}"
    if isinstance(text, dict):
        return "; ".join(f"{colour} {said(each)}" for colour, each in text.items())
    if isinstance(text, list):
        return f"{len(text)} pairs from {said_pair(text[0])} to {said_pair(text[-1])}"
    return text if isinstance(text, str) else shown(text)


def said_pair(pair: list[object]) -> str:
    """Say one of a list of pairs of wavelength and value."""
    return said({"value": pair[1], "wavelength": pair[0]})


def _noise(setup: Setup) -> Iterator[Note]:
    camera, gain = setup.texts["camera"], f"{setup.gain_dn_e:.4g} DN/e"
    for key, label in _NOISES.items():
        value = getattr(setup.camera, f"{key}_e")
        if has_unit(camera.get(key), "DN"):
            off = ", rounding taken off" if key == "read_noise" else ""
            yield Note(f"{key}_e", label, "e", value, f"{camera[key]} at a gain of {gain}{off}")
    ranges = [key for key in _RANGES if key in camera]
    if ranges and "read_noise" not in camera:
        text = said(camera[ranges[0]])
        means = "over the threshold of EMVA 1288" if ranges[0] == _RANGES[1] else "over read noise"
        source = f"{text}, a full well of {camera['full_well']} {means}"
        yield Note("read_noise_e", "read noise", "e", setup.camera.read_noise_e, source)


def _numbers(setup: Setup) -> Iterator[Note]:
    camera, need = setup.texts["camera"], setup.texts["requirement"].get("snr")
    if is_inverse(camera.get("gain")):
        yield Note("gain_dn_e", "gain", "DN/e", setup.gain_dn_e, camera["gain"])
    form = setup.camera.pixel_format
    if form is not None:
        yield Note("sample_bits", "a sample on the link", "bits", form.sample_bits, form.name)
    if has_unit(need, DECIBEL):
        yield Note("snr", "SNR asked for", "", setup.requirement.snr, str(need))


def hung_on(setup: Setup) -> frozenset[str]:
    """Name the keys on whose values others hang, as a setup is written."""
    tables = {name: table for name, table in setup.texts.items() if isinstance(table, Mapping)}
    return hanging(
        (f"{name}.{key}", value) for name, table in tables.items() for key, value in table.items()
    )


def hanging(pairs: Iterable[tuple[str, object]]) -> frozenset[str]:
    """Name the keys on whose values others hang, where these are written so."""
    found: set[str] = set()
    for dotted, value in pairs:
        found.update(_hanging(plain_name(dotted), value))
    return frozenset(found)


def _hanging(dotted: str, value: object) -> tuple[str, ...]:
    section, _, key = dotted.partition(".")
    if dotted == "lens.transmission" and t_number(value) is not None:
        return ("lens.f_number",)
    if section == "camera" and key in _NOISES and has_unit(value, "DN"):
        return _GAIN
    if dotted == "camera.responsivity":
        return (dotted, *_GAIN, *_AREA)
    return (dotted, *_GAIN) if section == "camera" and key in _RANGES else ()
