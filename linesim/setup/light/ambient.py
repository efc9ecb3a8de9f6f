"""Ambient light, given as the user knows it: in lux, or in watts a square metre."""

from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from linesim.setup.fields import Kind, within
from linesim.setup.quantity import parse_quantity

_MOST = 1e9


class Ambient(NamedTuple):
    """Light at the target that is not the lamp's; one of the two is 0."""

    illuminance_lx: float
    irradiance_w_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AmbientKind(Kind):
    """A quantity of either kind."""

    def read(self, value: object, folder: Path) -> Ambient:  # noqa: ARG002 -- of the face
        """Try lux first, then watts a square metre."""
        if not isinstance(value, str):
            msg = "this is not a text with a unit"
            raise ValueError(msg)  # noqa: TRY004 -- pydantic collects ValueErrors only
        try:
            return Ambient(within(parse_quantity(value, "lx"), 0.0, _MOST, "lx"), 0.0)
        except ValueError as fault:
            if "another kind" not in str(fault):
                raise
        return Ambient(0.0, within(parse_quantity(value, "W/m^2"), 0.0, _MOST, "W/m^2"))
