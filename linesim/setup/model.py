"""What the user proposes: one frozen object a section, plain floats with their unit in the name."""

from typing import Annotated, Literal

from pydantic import Field

from linesim.setup.camera import Acquisition
from linesim.setup.fields import Choice, Flag, Number, Parsed, Quantity, Text
from linesim.setup.kinds import Turn, read_spectrum, read_turn
from linesim.setup.lens.lens import Lens
from linesim.setup.light.ambient import Ambient, AmbientKind
from linesim.setup.light.spectra import Spectrum
from linesim.setup.product import (
    GrainTexts,
    ImageTexture,
    ProductKind,
    ReliefNeed,
    read_relief,
    read_texture,
)
from linesim.setup.sheet.camera_sheet import SheetCamera
from linesim.setup.sheet.stated import FinenessKind, SnrKind
from linesim.setup.surface import Face, PlacedLight
from linesim.setup.vocabulary import (
    COUNT,
    DISTANCE,
    FAULT_SHARE,
    HEIGHT,
    LENGTH,
    MICRONS,
    RATE,
    SHARE,
    SPEED,
    SWING,
    TITLE,
    Section,
    WhiteKind,
)

WHITE = WhiteKind(
    "a fraction from 0 to 1, or up to 10 where white is no matt one", "0.8", low=0.0, high=10.0
)
_LEFT = Number("a share of the new lamp's light, over 0", "0.7", low=0.01, high=1.0)
FINENESS = FinenessKind("a length", '"20 um"', unit="um", low=1e-3, high=1e6)
_PULSE = Quantity("a time", '"10 us"', unit="us", low=1e-3, high=1e7)


_ANGLE = Quantity("an angle", '"5 deg"', unit="deg", low=-90.0, high=90.0)
_CONTRAST = Number("a ratio of light to dark", "4.0", low=1.0, high=1e6)
_ENCODING = Choice('"srgb" or "linear"', '"srgb"', allowed=("srgb", "linear"))
_MAX_PIXELS = Number("a number of pixels", "2000000000", low=4, high=10**12, whole=True)


class Target(Face):
    """The thing that passes under the camera."""

    image: Annotated[str, Text("a built-in name or an image file", '"edge"')]
    pixel_size_um: Annotated[float, FINENESS] = Field(alias="pixel_size")
    width_mm: Annotated[float, LENGTH] | None = Field(alias="width", default=None)
    height_mm: Annotated[float, LENGTH] | None = Field(alias="height", default=None)
    angle_deg: Annotated[float, _ANGLE] | None = Field(alias="angle", default=None)
    contrast: Annotated[float, _CONTRAST] | None = None
    encoding: Annotated[Literal["srgb", "linear"], _ENCODING]
    max_pixels: Annotated[int, _MAX_PIXELS]
    white_reflectance: Annotated[float, WHITE]
    repeat: Annotated[bool, Flag("true or false", "false")]


_TRIGGER = Choice('"clock" or "encoder"', '"clock"', allowed=("clock", "encoder"))
_ENCODER_MISSED_COUNTS = Number("a share of counts", "0.001", low=0.0, high=0.5)
_LINE_JITTER = Quantity("a length", '"2 um"', unit="um", low=0.0, high=1e5)
_SKEW = Quantity("an angle", '"0.2 deg"', unit="deg", low=-10.0, high=10.0)


class Transport(Section):
    """How the target moves, and what starts a line."""

    speed_mm_s: Annotated[float, SPEED] = Field(alias="speed")
    slowest_speed_mm_s: Annotated[float, SPEED] | None = Field(alias="slowest_speed", default=None)
    assumed_speed_mm_s: Annotated[float, SPEED] | None = Field(alias="assumed_speed", default=None)
    trigger: Annotated[Literal["clock", "encoder"], _TRIGGER]
    encoder_step_um: Annotated[float, MICRONS] | None = Field(alias="encoder_step", default=None)
    encoder_divider: Annotated[int, COUNT] | None = None
    encoder_multiplier: Annotated[int, COUNT]
    encoder_missed_counts: Annotated[float, _ENCODER_MISSED_COUNTS] | None = None
    speed_ripple: Annotated[float, FAULT_SHARE]
    ripple_frequency_hz: Annotated[float, SWING] = Field(alias="ripple_frequency")
    line_jitter_um: Annotated[float, _LINE_JITTER] = Field(alias="line_jitter")
    encoder_turn_error_um: Annotated[float, DISTANCE] = Field(alias="encoder_turn_error")
    encoder_turn_length_mm: Annotated[float, LENGTH] | None = Field(
        alias="encoder_turn_length", default=None
    )
    skew_deg: Annotated[float, _SKEW] = Field(alias="skew")
    lateral_wander_um: Annotated[float, DISTANCE] = Field(alias="lateral_wander")
    lateral_wander_frequency_hz: Annotated[float, SWING] = Field(alias="lateral_wander_frequency")
    flutter_mm: Annotated[float, HEIGHT] = Field(alias="flutter")
    flutter_frequency_hz: Annotated[float, SWING] = Field(alias="flutter_frequency")


_SPECTRUM = Parsed("a CIE name, a peak and a width, or a CSV file", '"LED-B3"', by=read_spectrum)
_TURN = Parsed("which of the lights that shine in turn this one is", '"1 of 2"', by=read_turn)
_AMBIENT = AmbientKind("an illuminance or an irradiance", '"500 lx"')


class Light(PlacedLight):
    """Light on the target; the keys of a lamp, and those of all lamps."""

    spectrum: Annotated[Spectrum, _SPECTRUM]
    edge_falloff: Annotated[float, SHARE]
    flicker: Annotated[float, SHARE]
    flicker_frequency_hz: Annotated[float, SWING] = Field(alias="flicker_frequency")
    maintenance_factor: Annotated[float, _LEFT] | None = None
    pulse_us: Annotated[float, _PULSE] | None = Field(alias="pulse", default=None)
    height_band_mm: Annotated[float, LENGTH] | None = Field(alias="height_band", default=None)
    max_pulse_rate_hz: Annotated[float, RATE] | None = Field(alias="max_pulse_rate", default=None)
    multiplexed: Annotated[bool, Flag("true or false", "true")] | None = None
    turn: Annotated[Turn, _TURN] | None = None
    ambient: Annotated[Ambient, _AMBIENT]


_DEFECT_SHAPE = Choice(
    '"disc", "scratch-along" or "scratch-across"',
    '"disc"',
    allowed=("disc", "scratch-along", "scratch-across"),
)
_DEFECT_RELIEF = Parsed(
    "a fault with relief", '{ kind = "groove", width = "80 um", depth = "3 um" }', by=read_relief
)
_DETECTION_RATE = Number("a share of the defects, under 1", "0.95", low=0.001, high=0.999999)
_FALSE_ALARMS_PER_M2 = Number(
    "a number of false alarms on a square metre of product", "0.01", low=1e-9, high=1e6
)
_SNR = SnrKind("a signal to noise ratio", "40", low=0.0, high=1e5)
_PRODUCT_REFLECTANCE = ProductKind('a share of the light sent back, or "white"', "0.3")
_TEXTURE = Parsed(
    '"target", { rms, correlation }, or an image file of good product',
    '{ rms = 0.02, correlation = "0.3 mm" }',
    by=read_texture,
)


class Requirement(Section):
    """What the picture must be good enough for."""

    smallest_defect_um: Annotated[float, MICRONS] | None = Field(
        alias="smallest_defect", default=None
    )
    defect_contrast: Annotated[float, SHARE]
    defect_shape: Annotated[Literal["disc", "scratch-along", "scratch-across"], _DEFECT_SHAPE]
    defect_length_um: Annotated[float, MICRONS] | None = Field(alias="defect_length", default=None)
    defect_relief: Annotated[ReliefNeed, _DEFECT_RELIEF] | None = None
    detection_rate: Annotated[float, _DETECTION_RATE] | None = None
    false_alarms_per_m2: Annotated[float, _FALSE_ALARMS_PER_M2] | None = None
    snr: Annotated[float, _SNR] | None = None
    product_reflectance: Annotated[float | str, _PRODUCT_REFLECTANCE] | None = None
    texture: Annotated[str | GrainTexts | ImageTexture, _TEXTURE] | None = None


class Sections(Section):
    """The whole file."""

    title: Annotated[str, TITLE]
    target: Target
    transport: Transport
    lens: Lens
    light: Light
    camera: SheetCamera
    acquisition: Acquisition
    requirement: Requirement
    light_2: PlacedLight | None = None
    light_3: PlacedLight | None = None
    light_4: PlacedLight | None = None
