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
            label="Illuminance, lamp's sheet" if sheet else "Illuminance",
            group="Light",
            unit="klx",
            limits=(0.1, 2000.0),
            log=True,
            read=_klx,
            doubles=True,
        )
    return Slider(
        key="light.irradiance",
        label="Irradiance",
        group="Light",
        unit="W/m^2",
        limits=(0.1, 10_000.0),
        log=True,
        read=lambda each: each.light.irradiance_w_m2 or 0.0,
        doubles=True,
    )


def _focus(setup: Setup) -> Slider:
    """Reach well out of the depth of field, however deep that is."""
    lens, place = optics(setup), station(setup).geometry
    side_um = max(place.across * place.pixel_width_um, place.along * place.pixel_height_um)
    soft_mm = _SOFT_PX * side_um * lens.working_f_number / (1000 * lens.magnification**2)
    # rounded to 1, 2 or 5, which lie up to 2.5 apart
    reach_mm = round_length_mm(2.5 * max(float(soft_mm), abs(float(lens.defocus_mm))))
    return Slider(
        key="lens.defocus",
        label="Out of focus by",
        group="Lens",
        unit="mm",
        limits=(-reach_mm, reach_mm),
        stops=tuple(reach_mm * share for share in (-1.0, -0.5, 0.0, 0.5, 1.0)),
        read=lambda each: float(optics(each).defocus_mm),
    )


def share_of_longest(setup: Setup) -> float:
    """Tell which part of the longest possible exposure a setup takes."""
    when = station(setup).timing
    longest_us = float(when.longest_exposure_us)
    return float(when.exposure_us) / longest_us if longest_us > 0 else 1.0


_SLIDERS = (
    Slider(
        key="requirement.smallest_defect",
        label="Smallest defect to find",
        group="Demand",
        unit="um",
        limits=(1.0, 10_000.0),
        log=True,
        read=lambda setup: setup.requirement.smallest_defect_um,
    ),
    Slider(
        key="lens.field_of_view",
        label="Field of view: the line on the target",
        group="Lens",
        unit="mm",
        limits=(1.0, 5000.0),
        log=True,
        read=lambda setup: float(station(setup).geometry.field_of_view_mm),
    ),
    Slider(
        key="lens.f_number",
        label="Aperture (f-number)",
        group="Lens",
        limits=(1.0, 32.0),
        log=True,
        stops=_STOPS,
        read=lambda setup: setup.lens.f_number,
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
        doubles=True,
        read=lambda setup: setup.transport.speed_mm_s * 60 / 1000,
    ),
    Slider(
        key=SHARE,
        label="Exposure, of period",
        group="Travel and time",
        limits=(0.01, 1.0),
        log=True,
        stops=_SHARES,
        read=share_of_longest,
    ),
    Slider(
        key="camera.pixel_width",
        label="Width of a pixel",
        group="Sensor",
        unit="um",
        limits=(2.0, 30.0),
        log=True,
        read=lambda setup: setup.camera.pixel_width_um,
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
        doubles=True,
        read=lambda setup: setup.gain_dn_e,
    ),
)
_PICKERS = (
    Picker(
        key="camera.pixels",
        label="Pixels in the line",
        group="Sensor",
        choices=(512, 1024, 2048, 4096, 8192, 16384),
    ),
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
        label="Digital binning result",
        group="Sensor",
        choices=("sum", "average"),
    ),
    Picker(key="camera.bit_depth", label="Bits", group="Numbers", choices=(8, 10, 12, 14, 16)),
)
_ORDER = ("Light", "Demand", "Lens", "Travel and time", "Sensor", "Numbers")


def controls(setup: Setup) -> Iterator[Slider | Picker]:
    """List what may be moved, in the order of the light."""
    relief = setup.requirement.defect_relief is not None  # its width is part of a table
    sliders = [each for each in _SLIDERS if not (relief and each.group == "Demand")]
    known: tuple[Slider | Picker, ...] = (*_lights(setup), *sliders, _focus(setup), *_PICKERS)
    for group in _ORDER:
        yield from (each for each in known if each.group == group)
