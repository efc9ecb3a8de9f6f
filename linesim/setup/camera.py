"""The camera, and how it is run."""

from typing import Annotated, Literal

from pydantic import Field

from linesim.setup.channels import (
    COLOURS,
    ByChannel,
    ByChannelKind,
    HeightsKind,
    OwnEfficiencyKind,
    PairKind,
    TableKind,
)
from linesim.setup.fields import Choice, Flag, Number, Quantity
from linesim.setup.kinds import Binning, BinningKind, EfficiencyCurve
from linesim.setup.light.sums import Curve
from linesim.setup.sensor_patterns import ColumnWaves, Taps, TapsKind, WavesKind
from linesim.setup.sheet.stated import NOISE, GainKind
from linesim.setup.surface import VIEW
from linesim.setup.vocabulary import (
    FAULT_SHARE,
    LENGTH,
    PITCH,
    RATE,
    SHARE,
    WELL,
    Section,
)

KINDS = ("mono", "three-line", "prism")
DOMAINS = ("charge", "digital")
MODES = ("sum", "average")
WAYS_ALONG = ("rows", "lines")
ALIGNMENTS = ("whole-lines", "fractional", "none")
BALANCES = ("off", "grey-card")


_OFF = Quantity(what="a length at the sensor", example='"0.5 um"', unit="um", low=-1e3, high=1e3)
REGISTRATION = TableKind(
    what="how far each colour's sensor is off its place, across and along",
    example='{ red = ["0.5 um", "0 um"], green = ["0 um", "0 um"], blue = ["0 um", "-1 um"] }',
    each=PairKind(what="two lengths, across and along", example='["0.5 um", "0 um"]', each=_OFF),
)


def _one_of(words: tuple[str, ...]) -> Choice:
    """Take one of some words, each said as it stands in the file."""
    said = [f'"{word}"' for word in words]
    return Choice(what=" or ".join(said), example=said[0], allowed=words)


class Camera(Section):
    """The sensor and what follows it up to the delivered number."""

    kind: Annotated[Literal["mono", "three-line", "prism"], _one_of(KINDS)]
    pixels: Annotated[
        int,
        Number(what="a number of pixels", example="4096", low=1, high=131_072, whole=True),
    ]
    pixel_width_um: Annotated[float, PITCH] = Field(alias="pixel_width")
    pixel_height_um: Annotated[float, PITCH] | None = Field(alias="pixel_height", default=None)
    rows: (
        Annotated[int, Number(what="a number of rows", example="2", low=1, high=64, whole=True)]
        | None
    ) = None
    row_heights_um: (
        Annotated[
            tuple[float, ...],
            HeightsKind(
                what="a list of heights, one a row", example='["6 um", "6 um", "9 um", "9 um"]'
            ),
        ]
        | None
    ) = Field(alias="row_heights", default=None)
    angle_deg: Annotated[float, VIEW] | None = Field(alias="angle", default=None)
    line_spacing_um: (
        Annotated[
            float,
            Quantity(what="a distance of rows", example='"30 um"', unit="um", low=0.0, high=1e5),
        ]
        | None
    ) = Field(alias="line_spacing", default=None)
    registration_um: Annotated[ByChannel[tuple[float, float]], REGISTRATION] | None = Field(
        alias="registration", default=None
    )
    light_share: Annotated[
        float | ByChannel[float],
        ByChannelKind(what="a fraction from 0 to 1, or one a colour", example="0.33", each=SHARE),
    ]
    quantum_efficiency: Annotated[
        float | EfficiencyCurve | ByChannel[float | EfficiencyCurve],
        OwnEfficiencyKind(
            what="a number from 0 to 1, a CSV file, or one of them a colour", example="0.6"
        ),
    ]
    read_noise_e: Annotated[float, NOISE] = Field(alias="read_noise")
    dark_current_e_s: Annotated[
        float,
        Quantity(what="a dark current", example='"500 e/s"', unit="e/s", low=0.0, high=1e12),
    ] = Field(alias="dark_current")
    full_well_e: Annotated[float, WELL] = Field(alias="full_well")
    binned_full_well_e: Annotated[float, WELL] | None = Field(
        alias="binned_full_well", default=None
    )
    dsnu_e: Annotated[float, NOISE] = Field(alias="dsnu")
    prnu: Annotated[float, FAULT_SHARE]
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
            GainKind(what="a gain", example='"0.1 DN/e"', unit="DN/e", low=1e-9, high=1e6),
        ]
        | None
    ) = Field(alias="gain", default=None)
    black_level_dn: Annotated[
        float,
        Quantity(
            what="a black level", example='"64 DN"', unit="DN", low=0.0, high=65_000.0, bare=True
        ),
    ] = Field(alias="black_level")
    max_line_rate_hz: Annotated[float, RATE] | None = Field(alias="max_line_rate", default=None)
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
    tdi_stages: Annotated[
        int, Number(what="a number of stages", example="64", low=1, high=1024, whole=True)
    ]
    line_noise_e: Annotated[float, NOISE] = Field(alias="line_noise", default=0.0)
    crosstalk: Annotated[
        float, Number(what="a fraction from 0 to 0.2", example="0.03", low=0.0, high=0.2)
    ] = 0.0
    linearity_error: Annotated[
        float, Number(what="a fraction from 0 to 0.05", example="0.01", low=0.0, high=0.05)
    ] = 0.0
    lag: Annotated[
        float, Number(what="a fraction from 0 to 0.5", example="0.02", low=0.0, high=0.5)
    ] = 0.0
    charge_transfer_inefficiency: Annotated[
        float, Number(what="a fraction from 0 to 0.01", example="1e-5", low=0.0, high=0.01)
    ] = 0.0
    taps: (
        Annotated[
            Taps,
            TapsKind(
                what="a number of taps and what sets them apart",
                example='{ count = 4, gain_step = 0.01, offset_step = "5 e" }',
            ),
        ]
        | None
    ) = None
    column_waves: (
        Annotated[
            ColumnWaves,
            WavesKind(
                what="a peak share and a period", example='{ gain = 0.005, period = "64 px" }'
            ),
        ]
        | None
    ) = None

    def efficiency(self, channel: str) -> float | Curve:
        """Quantum efficiency of one channel, "mono" or a colour."""
        given = self._of(channel)
        return given.arrays() if isinstance(given, EfficiencyCurve) else given

    def has_own_curve(self, channel: str) -> bool:
        """Tell whether a colour has a curve of its own, with its filter in it."""
        by_channel = isinstance(self.quantum_efficiency, ByChannel)
        return by_channel and isinstance(self._of(channel), EfficiencyCurve)

    def share_of_light(self, channel: str) -> float:
        """Share of the light that the optics send to one colour."""
        share = self.light_share
        return share if isinstance(share, float) else share[COLOURS.index(channel)]

    def _of(self, channel: str) -> float | EfficiencyCurve:
        given = self.quantum_efficiency
        return given[COLOURS.index(channel)] if isinstance(given, ByChannel) else given


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
    trigger_delay_us: (
        Annotated[float, Quantity(what="a time", example='"20 us"', unit="us", low=0.0, high=1e9)]
        | None
    ) = Field(alias="trigger_delay", default=None)
    binning: Annotated[Binning, BinningKind(what="pixels across x pixels along", example='"2x2"')]
    binning_domain: Annotated[Literal["charge", "digital"], _one_of(DOMAINS)]
    binning_mode: Annotated[Literal["sum", "average"], _one_of(MODES)]
    binning_along: Annotated[Literal["rows", "lines"], _one_of(WAYS_ALONG)]
    row_height_um: Annotated[float, PITCH] | None = Field(alias="row_height", default=None)
    colour_alignment: Annotated[Literal["whole-lines", "fractional", "none"], _one_of(ALIGNMENTS)]
    white_balance: Annotated[Literal["off", "grey-card"], _one_of(BALANCES)]
    flat_field: Annotated[bool, Flag(what="true or false", example="false")]
    flat_field_lines: Annotated[
        int, Number(what="a number of lines", example="256", low=1, high=10**6, whole=True)
    ]
    lines: (
        Annotated[
            int,
            Number(what="a number of lines", example="1800", low=1, high=10**9, whole=True),
        ]
        | None
    ) = None
    length_mm: Annotated[float, LENGTH] | None = Field(alias="length", default=None)
