"""Kinds of values that several sections share, and what a section is."""

from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from linesim.setup.fields import Number, Quantity, Text


@dataclass(frozen=True, slots=True, kw_only=True)
class WhiteKind(Number):
    """A share that a face may exceed which mirrors, fluoresces or throws light back."""

    @property
    def is_share(self) -> bool:
        """Per cent are taken, whatever the limit."""
        return True


LENGTH = Quantity("a length", '"80 mm"', unit="mm", low=1e-3, high=1e7)
MICRONS = Quantity("a length", '"20 um"', unit="um", low=1e-3, high=1e6)
PITCH = Quantity("a pixel size", '"7.5 um"', unit="um", low=0.1, high=1000.0)
SPEED = Quantity("a speed", '"60 m/min"', unit="mm/s", low=1e-6, high=2e5)
RATE = Quantity("a rate", '"8 kHz"', unit="Hz", low=1e-3, high=1e8)
SWING = Quantity("a frequency", '"12 Hz"', unit="Hz", low=1e-6, high=1e7)
SHARE = Number("a fraction from 0 to 1", "0.8", low=0.0, high=1.0)
FAULT_SHARE = Number("a fraction from 0 to 0.9", "0.02", low=0.0, high=0.9)
COUNT = Number("a number of encoder counts", "4", low=1, high=1_000_000, whole=True)
ELECTRONS = Quantity("a number of electrons", '"12 e"', unit="e", low=0.0, high=1e9)
WELL = Quantity("a number of electrons", '"40 ke"', unit="e", low=1.0, high=1e9)
DISTANCE = Quantity("a length", '"20 um"', unit="um", low=0.0, high=1e6)
HEIGHT = Quantity("a height", '"0.5 mm"', unit="mm", low=0.0, high=1e4)
TITLE = Text("a title", '"Coated foil, lane 2"')


def title_faults(title: object) -> list[str]:
    """Check a title that stands outside of a setup."""
    try:
        TITLE.checked(title, Path())
    except ValueError as fault:
        return [f"title: {fault}"]
    return []


class Section(BaseModel):
    """One table of the setup file."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        arbitrary_types_allowed=True,
        validate_default=False,
        defer_build=True,
    )
