"""What the user proposes: one frozen object a section, plain floats with their unit in the name."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from linesim.setup.fields import Choice, Flag, Number, Quantity, Text
from linesim.setup.kinds import (
    Binning,
    BinningKind,
    EfficiencyCurve,
    EfficiencyKind,
    SpectrumKind,
)
from linesim.setup.spectra import Spectrum

_LENGTH = Quantity(what="a length", example='"80 mm"', unit="mm", low=1e-3, high=1e7)
_MICRONS = Quantity(what="a length", example='"20 um"', unit="um", low=1e-3, high=1e6)
_PITCH = Quantity(what="a pixel size", example='"7.5 um"', unit="um", low=0.1, high=1000.0)
_SPEED = Quantity(what="a speed", example='"60 m/min"', unit="mm/s", low=1e-6, high=2e5)
_RATE = Quantity(what="a rate", example='"8 kHz"', unit="Hz", low=1e-3, high=1e8)
_SWING = Quantity(what="a frequency", example='"12 Hz"', unit="Hz", low=1e-6, high=1e7)
_SHARE = Number(what="a fraction from 0 to 1", example="0.8", low=0.0, high=1.0)
_FAULT_SHARE = Number(what="a fraction from 0 to 0.9", example="0.02", low=0.0, high=0.9)
_COUNT = Number(what="a number of encoder counts", example="4", low=1, high=1_000_000, whole=True)
_ELECTRONS = Quantity(what="a number of electrons", example='"12 e"', unit="e", low=0.0, high=1e9)
_WELL = Quantity(what="a number of electrons", example='"40 ke"', unit="e", low=1.0, high=1e9)


class Section(BaseModel):
    """One table of the setup file."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", arbitrary_types_allowed=True, validate_default=False
    )


class Target(Section):
    """The thing that passes under the camera."""

    image: Annotated[str, Text(what="a built-in name or an image file", example='"edge"')]
    pixel_size_um: Annotated[float, _MICRONS] = Field(alias="pixel_size")
    width_mm: Annotated[float, _LENGTH] | None = Field(alias="width", default=None)
    height_mm: Annotated[float, _LENGTH] | None = Field(alias="height", default=None)
    angle_deg: (
        Annotated[
            float, Quantity(what="an angle", example='"5 deg"', unit="deg", low=-90.0, high=90.0)
        ]
        | None
    ) = Field(alias="angle", default=None)
    contrast: (
        Annotated[float, Number(what="a ratio of light to dark", example="4.0", low=1.0, high=1e6)]
        | None
    ) = None
    encoding: Annotated[
        Literal["srgb", "linear"],
        Choice(what='"srgb" or "linear"', example='"srgb"', allowed=("srgb", "linear")),
    ]
    white_reflectance: Annotated[float, _SHARE]
    repeat: Annotated[bool, Flag(what="true or false", example="false")]


class Transport(Section):
    """How the target moves, and what starts a line."""

    speed_mm_s: Annotated[float, _SPEED] = Field(alias="speed")
    assumed_speed_mm_s: Annotated[float, _SPEED] | None = Field(alias="assumed_speed", default=None)
    trigger: Annotated[
        Literal["clock", "encoder"],
        Choice(what='"clock" or "encoder"', example='"clock"', allowed=("clock", "encoder")),
    ]
    encoder_step_um: Annotated[float, _MICRONS] | None = Field(alias="encoder_step", default=None)
    encoder_divider: Annotated[int, _COUNT] | None = None
    encoder_multiplier: Annotated[int, _COUNT]
    speed_ripple: Annotated[float, _FAULT_SHARE]
    ripple_frequency_hz: Annotated[float, _SWING] = Field(alias="ripple_frequency")
    line_jitter_um: Annotated[
        float,
        Quantity(what="a length", example='"2 um"', unit="um", low=0.0, high=1e5),
    ] = Field(alias="line_jitter")
    flutter_mm: Annotated[
        float,
        Quantity(what="a height", example='"0.5 mm"', unit="mm", low=0.0, high=1e4),
    ] = Field(alias="flutter")


class Lens(Section):
    """What brings the light of the target to the sensor."""

    magnification: (
        Annotated[
            float,
            Number(what="a ratio of image to object size", example="0.1", low=1e-4, high=100.0),
        ]
        | None
    ) = None
    field_of_view_mm: Annotated[float, _LENGTH] | None = Field(alias="field_of_view", default=None)
    f_number: Annotated[float, Number(what="an f-number", example="4.0", low=0.5, high=256.0)]
    transmission: Annotated[float, _SHARE]
    blur_um: Annotated[
        float,
        Quantity(
            what="a Gaussian blur at the sensor", example='"2 um"', unit="um", low=0.0, high=1e4
        ),
    ] = Field(alias="blur")
    defocus_mm: Annotated[
        float,
        Quantity(
            what="a distance from best focus", example='"0.5 mm"', unit="mm", low=-1e4, high=1e4
        ),
    ] = Field(alias="defocus")
    focal_length_mm: (
        Annotated[
            float,
            Quantity(what="a focal length", example='"50 mm"', unit="mm", low=0.1, high=1e4),
        ]
        | None
    ) = Field(alias="focal_length", default=None)


class Light(Section):
    """Light on the target."""

    illuminance_lx: (
        Annotated[
            float,
            Quantity(what="an illuminance", example='"40 klx"', unit="lx", low=0.0, high=1e9),
        ]
        | None
    ) = Field(alias="illuminance", default=None)
    irradiance_w_m2: (
        Annotated[
            float,
            Quantity(what="an irradiance", example='"120 W/m^2"', unit="W/m^2", high=1e7),
        ]
        | None
    ) = Field(alias="irradiance", default=None)
    spectrum: Annotated[
        Spectrum,
        SpectrumKind(what="a CIE name, a peak and a width, or a CSV file", example='"LED-B3"'),
    ]
    edge_falloff: Annotated[float, _SHARE]


class Camera(Section):
    """The sensor and what follows it up to the delivered number."""

    kind: Annotated[Literal["mono"], Choice(what='"mono"', example='"mono"', allowed=("mono",))]
    pixels: Annotated[
        int,
        Number(what="a number of pixels", example="4096", low=1, high=131_072, whole=True),
    ]
    pixel_width_um: Annotated[float, _PITCH] = Field(alias="pixel_width")
    pixel_height_um: Annotated[float, _PITCH] | None = Field(alias="pixel_height", default=None)
    rows: (
        Annotated[int, Number(what="a number of rows", example="2", low=1, high=64, whole=True)]
        | None
    ) = None
    quantum_efficiency: Annotated[
        float | EfficiencyCurve,
        EfficiencyKind(what="a number from 0 to 1 or a CSV file", example="0.6"),
    ]
    read_noise_e: Annotated[float, _ELECTRONS] = Field(alias="read_noise")
    dark_current_e_s: Annotated[
        float,
        Quantity(what="a dark current", example='"500 e/s"', unit="e/s", low=0.0, high=1e12),
    ] = Field(alias="dark_current")
    full_well_e: Annotated[float, _WELL] = Field(alias="full_well")
    binned_full_well_e: Annotated[float, _WELL] | None = Field(
        alias="binned_full_well", default=None
    )
    dsnu_e: Annotated[float, _ELECTRONS] = Field(alias="dsnu")
    prnu: Annotated[float, _FAULT_SHARE]
    pattern_seed: Annotated[
        int, Number(what="a seed", example="0", low=0, high=2**63 - 1, whole=True)
    ]
    bit_depth: Annotated[
        int,
        Choice(what="8, 10, 12, 14 or 16", example="12", allowed=(8, 10, 12, 14, 16)),
    ]
    gain_dn_e: (
        Annotated[
            float,
            Quantity(what="a gain", example='"0.1 DN/e"', unit="DN/e", low=1e-9, high=1e6),
        ]
        | None
    ) = Field(alias="gain", default=None)
    black_level_dn: Annotated[
        float,
        Quantity(
            what="a black level", example='"64 DN"', unit="DN", low=0.0, high=65_000.0, bare=True
        ),
    ] = Field(alias="black_level")
    max_line_rate_hz: Annotated[float, _RATE] | None = Field(alias="max_line_rate", default=None)
    dead_time_us: Annotated[
        float,
        Quantity(what="a time", example='"2 us"', unit="us", low=0.0, high=1e9),
    ] = Field(alias="dead_time")
    link_mb_s: (
        Annotated[
            float,
            Quantity(what="a data rate", example='"110 MB/s"', unit="MB/s", low=1e-6, high=1e9),
        ]
        | None
    ) = Field(alias="link", default=None)


class Acquisition(Section):
    """How the camera is run."""

    line_rate: Annotated[
        float | Literal["matched", "square"],
        Quantity(
            what='a rate, "matched" or "square"',
            example='"8 kHz"',
            unit="Hz",
            low=1e-3,
            high=1e8,
            words=("matched", "square"),
        ),
    ]
    exposure: Annotated[
        float | Literal["full"],
        Quantity(
            what='a time or "full"',
            example='"100 us"',
            unit="us",
            low=1e-3,
            high=1e9,
            words=("full",),
        ),
    ]
    binning: Annotated[Binning, BinningKind(what="pixels across x pixels along", example='"2x2"')]
    binning_domain: Annotated[
        Literal["charge"], Choice(what='"charge"', example='"charge"', allowed=("charge",))
    ]
    lines: (
        Annotated[
            int,
            Number(what="a number of lines", example="1800", low=1, high=10**9, whole=True),
        ]
        | None
    ) = None
    length_mm: Annotated[float, _LENGTH] | None = Field(alias="length", default=None)


class Requirement(Section):
    """What the picture must be good enough for."""

    smallest_defect_um: Annotated[float, _MICRONS] | None = Field(
        alias="smallest_defect", default=None
    )
    defect_contrast: Annotated[float, _SHARE]
    snr: (
        Annotated[
            float,
            Number(what="a signal to noise ratio", example="40", low=0.0, high=1e5),
        ]
        | None
    ) = None


class Sections(Section):
    """The whole file."""

    title: Annotated[str, Text(what="a title", example='"Coated foil, lane 2"')]
    target: Target
    transport: Transport
    lens: Lens
    light: Light
    camera: Camera
    acquisition: Acquisition
    requirement: Requirement
