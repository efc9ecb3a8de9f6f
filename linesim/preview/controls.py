"""What the page lets people move: key, unit, range and scale of each control."""

from collections.abc import Iterator
from functools import partial

from linesim.forward.lens import optics
from linesim.forward.station import station
from linesim.preview.control_kinds import SHARE, Picker, Slider
from linesim.report.picture import round_length_mm
from linesim.setup.setup import Setup
from linesim.setup.surface import PLACED

_STOPS = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0)
"""Full stops as they are engraved; ISO 517, from memory."""
_SHARES = (1.0, 0.5, 0.25, 0.125, 0.0625, 0.03125, 0.015625)
_SOFT_PX = 4.0
"""So many pixels across, a blur disc is plainly seen; our choice."""
_BINNINGS = ("1x1", "2x1", "1x2", "2x2", "3x3", "4x4")


def _lights(setup: Setup) -> Iterator[Slider]:
    """Light of the first lamp, and the places of all that stand somewhere."""
    yield _light(setup)
    for number, (name, light) in enumerate(setup.named_lights.items()):
        if light.arrangement in PLACED:
            label = "Angle of the lamp" if number == 0 else f"Angle of lamp {number + 1}"
            at = partial(_angle_deg, number)
            yield Slider(f"{name}.angle", label, "Light", "deg", (-80.0, 80.0), at)


def _angle_deg(number: int, setup: Setup) -> float:
    return setup.lights[number].angle_deg or 0.0


def _klx(setup: Setup) -> float:
    return (setup.light.lamp_illuminance_lx or setup.light.illuminance_lx or 0.0) / 1000


def _light(setup: Setup) -> Slider:
    if setup.light.irradiance_w_m2 is None:
        sheet = setup.light.lamp_illuminance_lx is not None
        return Slider(
            "light.lamp_illuminance" if sheet else "light.illuminance",
            "Illuminance, lamp's sheet" if sheet else "Illuminance",
            "Light", "klx", (0.1, 2000.0), _klx, log=True, doubles=True,
        )  # fmt: skip
    return Slider(
        "light.irradiance", "Irradiance", "Light", "W/m^2", (0.1, 10_000.0),
        lambda each: each.light.irradiance_w_m2 or 0.0, log=True, doubles=True,
    )  # fmt: skip


def _focus(setup: Setup) -> Slider:
    """Reach well out of the depth of field, however deep that is."""
    lens, place = optics(setup), station(setup).geometry
    side_um = max(place.across * place.pixel_width_um, place.along * place.pixel_height_um)
    soft_mm = _SOFT_PX * side_um * lens.working_f_number / (1000 * lens.magnification**2)
    # rounded to 1, 2 or 5, which lie up to 2.5 apart
    reach_mm = round_length_mm(2.5 * max(float(soft_mm), abs(float(lens.defocus_mm))))
    stops = tuple(reach_mm * share for share in (-1.0, -0.5, 0.0, 0.5, 1.0))
    return Slider(
        "lens.defocus", "Out of focus by", "Lens", "mm", (-reach_mm, reach_mm),
        lambda each: float(optics(each).defocus_mm), stops=stops,
    )  # fmt: skip


def share_of_longest(setup: Setup) -> float:
    """Tell which part of the longest possible exposure a setup takes."""
    when = station(setup).timing
    longest_us = float(when.longest_exposure_us)
    return float(when.exposure_us) / longest_us if longest_us > 0 else 1.0


_SLIDERS = (
    Slider("requirement.smallest_defect", "Smallest defect to find", "Demand", "um",
           (1.0, 10_000.0), lambda setup: setup.requirement.smallest_defect_um, log=True),
    Slider("lens.field_of_view", "Field of view: the line on the target", "Lens", "mm",
           (1.0, 5000.0), lambda setup: float(station(setup).geometry.field_of_view_mm), log=True),
    Slider("lens.f_number", "Aperture (f-number)", "Lens", "",
           (1.0, 32.0), lambda setup: setup.lens.f_number, log=True, stops=_STOPS),
    Slider("lens.blur", "Rest blur at the sensor (sigma)", "Lens", "um",
           (0.0, 20.0), lambda setup: float(optics(setup).blur_um)),
    Slider("transport.speed", "Speed", "Travel and time", "m/min",
           (1.0, 1000.0), lambda setup: setup.transport.speed_mm_s * 60 / 1000,
           log=True, doubles=True),
    Slider(SHARE, "Exposure, of period", "Travel and time", "",
           (0.01, 1.0), share_of_longest, log=True, stops=_SHARES),
    Slider("camera.pixel_width", "Width of a pixel", "Sensor", "um",
           (2.0, 30.0), lambda setup: setup.camera.pixel_width_um, log=True),
    Slider("camera.read_noise", "Read noise", "Sensor", "e",
           (0.0, 100.0), lambda setup: setup.camera.read_noise_e),
    Slider("camera.full_well", "Full well", "Sensor", "ke",
           (1.0, 500.0), lambda setup: setup.camera.full_well_e / 1000, log=True),
    Slider("camera.gain", "Gain", "Numbers", "DN/e",
           (0.001, 10.0), lambda setup: setup.gain_dn_e, log=True, doubles=True),
)  # fmt: skip
_PICKERS = (
    Picker("camera.pixels", "Pixels in the line", "Sensor", (512, 1024, 2048, 4096, 8192, 16384)),
    Picker("acquisition.line_rate", "Line rate", "Travel and time", ("matched", "square")),
    Picker("acquisition.binning", "Binning, across x along", "Sensor", _BINNINGS),
    Picker("acquisition.binning_domain", "Binning domain", "Sensor", ("charge", "digital")),
    Picker("acquisition.binning_along", "Along travel, join", "Sensor", ("rows", "lines")),
    Picker("acquisition.binning_mode", "Digital binning result", "Sensor", ("sum", "average")),
    Picker("camera.bit_depth", "Bits", "Numbers", (8, 10, 12, 14, 16)),
)
_ORDER = ("Light", "Demand", "Lens", "Travel and time", "Sensor", "Numbers")


def controls(setup: Setup) -> Iterator[Slider | Picker]:
    """List what may be moved, in the order of the light."""
    relief = setup.requirement.defect_relief is not None  # its width is part of a table
    sliders = [each for each in _SLIDERS if not (relief and each.group == "Demand")]
    known: tuple[Slider | Picker, ...] = (*_lights(setup), *sliders, _focus(setup), *_PICKERS)
    for group in _ORDER:
        yield from (each for each in known if each.group == group)
