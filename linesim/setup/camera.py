"""The camera, and how it is run."""

from typing import Annotated, Literal

from pydantic import Field

from linesim.setup.channels import (
    COLOURS,
    ByChannel,
    ByChannelKind,
    OwnEfficiencyKind,
    read_heights,
    read_registration,
)
from linesim.setup.fields import Choice, Flag, Number, Parsed, Quantity
from linesim.setup.kinds import Binning, EfficiencyCurve, read_binning
from linesim.setup.light.sums import Curve
from linesim.setup.sensor_patterns import ColumnWaves, Taps, read_taps, read_waves
from linesim.setup.sheet.stated import NOISE, GainKind
from linesim.setup.surface import VIEW
from linesim.setup.vocabulary import FAULT_SHARE, LENGTH, PITCH, RATE, SHARE, WELL, Section

KINDS = ("mono", "three-line", "prism")
DOMAINS = ("charge", "digital")
MODES = ("sum", "average")
BINNED_ALONG = ("rows", "lines")
ALIGNMENTS = ("whole-lines", "fractional", "none")
BALANCES = ("off", "grey-card")


REGISTRATION = Parsed(
    "how far each colour's sensor is off its place, across and along",
    '{ red = ["0.5 um", "0 um"], green = ["0 um", "0 um"], blue = ["0 um", "-1 um"] }',
    by=read_registration,
)


def _one_of(words: tuple[str, ...]) -> Choice:
    """Take one of some words, each said as it stands in the file."""
    said = [f'"{word}"' for word in words]
    return Choice(" or ".join(said), said[0], allowed=words)


_PIXELS = Number("a number of pixels", "4096", low=1, high=131_072, whole=True)
_ROWS = Number("a number of rows", "2", low=1, high=64, whole=True)
_ROW_HEIGHTS = Parsed(
    "a list of heights, one a row", '["6 um", "6 um", "9 um", "9 um"]', by=read_heights
)
_LINE_SPACING = Quantity("a distance of rows", '"30 um"', unit="um", low=0.0, high=1e5)
_LIGHT_SHARE = ByChannelKind("a fraction from 0 to 1, or one a colour", "0.33", each=SHARE)
_QUANTUM_EFFICIENCY = OwnEfficiencyKind(
    "a number from 0 to 1, a CSV file, or one of them a colour", "0.6"
)
_DARK_CURRENT = Quantity("a dark current", '"500 e/s"', unit="e/s", low=0.0, high=1e12)
_PATTERN_SEED = Number("a seed", "0", low=0, high=2**63 - 1, whole=True)
_BIT_DEPTH = Choice("8, 10, 12, 14 or 16", "12", allowed=(8, 10, 12, 14, 16))
_GAIN = GainKind("a gain", '"0.1 DN/e"', unit="DN/e", low=1e-9, high=1e6)
_BLACK_LEVEL = Quantity("a black level", '"64 DN"', unit="DN", low=0.0, high=65_000.0, bare=True)
_DEAD_TIME = Quantity("a time", '"2 us"', unit="us", low=0.0, high=1e9)
_LINK = Quantity("a data rate", '"110 MB/s"', unit="MB/s", low=1e-6, high=1e9)
_TDI_STAGES = Number("a number of stages", "64", low=1, high=1024, whole=True)
_CROSSTALK = Number("a fraction from 0 to 0.2", "0.03", low=0.0, high=0.2)
_LINEARITY_ERROR = Number("a fraction from 0 to 0.05", "0.01", low=0.0, high=0.05)
_LAG = Number("a fraction from 0 to 0.5", "0.02", low=0.0, high=0.5)
_CHARGE_TRANSFER_INEFFICIENCY = Number("a fraction from 0 to 0.01", "1e-5", low=0.0, high=0.01)
_TAPS = Parsed(
    "a number of taps and what sets them apart",
    '{ count = 4, gain_step = 0.01, offset_step = "5 e" }',
    by=read_taps,
)
_COLUMN_WAVES = Parsed(
    "a peak share and a period", '{ gain = 0.005, period = "64 px" }', by=read_waves
)


class Camera(Section):
    """The sensor and what follows it up to the delivered number."""

    kind: Annotated[Literal["mono", "three-line", "prism"], _one_of(KINDS)]
    pixels: Annotated[int, _PIXELS]
    pixel_width_um: Annotated[float, PITCH] = Field(alias="pixel_width")
    pixel_height_um: Annotated[float, PITCH] | None = Field(alias="pixel_height", default=None)
    rows: Annotated[int, _ROWS] | None = None
    row_heights_um: Annotated[tuple[float, ...], _ROW_HEIGHTS] | None = Field(
        alias="row_heights", default=None
    )
    angle_deg: Annotated[float, VIEW] | None = Field(alias="angle", default=None)
    line_spacing_um: Annotated[float, _LINE_SPACING] | None = Field(
        alias="line_spacing", default=None
    )
    registration_um: Annotated[ByChannel[tuple[float, float]], REGISTRATION] | None = Field(
        alias="registration", default=None
    )
    light_share: Annotated[float | ByChannel[float], _LIGHT_SHARE]
    quantum_efficiency: Annotated[
        float | EfficiencyCurve | ByChannel[float | EfficiencyCurve], _QUANTUM_EFFICIENCY
    ]
    read_noise_e: Annotated[float, NOISE] = Field(alias="read_noise")
    dark_current_e_s: Annotated[float, _DARK_CURRENT] = Field(alias="dark_current")
    full_well_e: Annotated[float, WELL] = Field(alias="full_well")
    binned_full_well_e: Annotated[float, WELL] | None = Field(
        alias="binned_full_well", default=None
    )
    dsnu_e: Annotated[float, NOISE] = Field(alias="dsnu")
    prnu: Annotated[float, FAULT_SHARE]
    pattern_seed: Annotated[int, _PATTERN_SEED]
    bit_depth: Annotated[int, _BIT_DEPTH]
    gain_dn_e: Annotated[float, _GAIN] | None = Field(alias="gain", default=None)
    black_level_dn: Annotated[float, _BLACK_LEVEL] = Field(alias="black_level")
    max_line_rate_hz: Annotated[float, RATE] | None = Field(alias="max_line_rate", default=None)
    dead_time_us: Annotated[float, _DEAD_TIME] = Field(alias="dead_time")
    link_mb_s: Annotated[float, _LINK] | None = Field(alias="link", default=None)
    tdi_stages: Annotated[int, _TDI_STAGES]
    line_noise_e: Annotated[float, NOISE] = Field(alias="line_noise", default=0.0)
    crosstalk: Annotated[float, _CROSSTALK] = 0.0
    linearity_error: Annotated[float, _LINEARITY_ERROR] = 0.0
    lag: Annotated[float, _LAG] = 0.0
    charge_transfer_inefficiency: Annotated[float, _CHARGE_TRANSFER_INEFFICIENCY] = 0.0
    taps: Annotated[Taps, _TAPS] | None = None
    column_waves: Annotated[ColumnWaves, _COLUMN_WAVES] | None = None

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


_LINE_RATE = Quantity(
    'a rate, "matched" or "square"',
    '"8 kHz"',
    unit="Hz",
    low=1e-3,
    high=1e8,
    words=("matched", "square"),
)
_EXPOSURE = Quantity('a time or "full"', '"100 us"', unit="us", low=1e-3, high=1e9, words=("full",))
_TRIGGER_DELAY = Quantity("a time", '"20 us"', unit="us", low=0.0, high=1e9)
_FLAT_FIELD_LINES = Number("a number of lines", "256", low=1, high=10**6, whole=True)
_LINES = Number("a number of lines", "1800", low=1, high=10**9, whole=True)


class Acquisition(Section):
    """How the camera is run."""

    line_rate: Annotated[float | Literal["matched", "square"], _LINE_RATE]
    exposure: Annotated[float | Literal["full"], _EXPOSURE]
    trigger_delay_us: Annotated[float, _TRIGGER_DELAY] | None = Field(
        alias="trigger_delay", default=None
    )
    binning: Annotated[Binning, Parsed("pixels across x pixels along", '"2x2"', by=read_binning)]
    binning_domain: Annotated[Literal["charge", "digital"], _one_of(DOMAINS)]
    binning_mode: Annotated[Literal["sum", "average"], _one_of(MODES)]
    binning_along: Annotated[Literal["rows", "lines"], _one_of(BINNED_ALONG)]
    row_height_um: Annotated[float, PITCH] | None = Field(alias="row_height", default=None)
    colour_alignment: Annotated[Literal["whole-lines", "fractional", "none"], _one_of(ALIGNMENTS)]
    white_balance: Annotated[Literal["off", "grey-card"], _one_of(BALANCES)]
    flat_field: Annotated[bool, Flag("true or false", "false")]
    flat_field_lines: Annotated[int, _FLAT_FIELD_LINES]
    lines: Annotated[int, _LINES] | None = None
    length_mm: Annotated[float, LENGTH] | None = Field(alias="length", default=None)
