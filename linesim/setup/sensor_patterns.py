"""Fixed patterns of a sensor that more than one number tells: taps, and waves over the columns."""

from pathlib import Path
from typing import NamedTuple

from linesim.setup.fields import Kind, Number, Quantity
from linesim.setup.product import read_table
from linesim.setup.vocabulary import ELECTRONS

_TAPS: dict[str, Kind] = {
    "count": Number("a number of taps", "4", low=2, high=1024, whole=True),
    "gain_step": Number("a fraction from 0 to 0.2", "0.01", low=0.0, high=0.2),
    "offset_step": ELECTRONS,
}
_WAVES: dict[str, Kind] = {
    "gain": Number("a fraction from 0 to 0.5", "0.005", low=0.0, high=0.5),
    "period": Quantity("a number of pixels", '"64 px"', unit="px", low=2.0, high=131_072.0),
}


class Taps(NamedTuple):
    """Equal blocks of columns, each read by an amplifier of its own."""

    number: int
    gain_step: float = 0.0  # standard deviation of their gains, share
    offset_step_e: float = 0.0  # of their offsets [e]


class ColumnWaves(NamedTuple):
    """A sine of the response over the columns."""

    gain: float  # its peak, share of the response
    period_px: float  # in physical pixels [px]


def read_taps(value: object, folder: Path) -> Taps:
    """Read {count, gain_step, offset_step}, of which a step may be left out."""
    found = read_table(_table(value), _TAPS, folder, free=("gain_step", "offset_step"))
    return Taps(found["count"], found.get("gain_step", 0.0), found.get("offset_step", 0.0))


def read_waves(value: object, folder: Path) -> ColumnWaves:
    """Read {gain, period}."""
    found = read_table(_table(value), _WAVES, folder)
    return ColumnWaves(found["gain"], found["period"])


def _table(value: object) -> dict[str, object]:
    if not isinstance(value, dict):
        msg = "this is no table"
        raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
    return value
