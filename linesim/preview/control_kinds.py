"""The kinds of control that the page has: sliders and pickers, and which of them come first."""

from collections.abc import Callable, Iterator
from dataclasses import KW_ONLY, dataclass
from typing import Any

from linesim.setup.setup import Setup

SHARE = "exposure_share"
"""Stands for an exposure as part of the longest that the line period leaves."""
FIRST = (
    "light.illuminance", "light.lamp_illuminance", "light.irradiance", "lens.f_number",
    "transport.speed", SHARE, "acquisition.binning", "lens.defocus", "camera.gain",
)  # fmt: skip
"""What one reaches for at the table; a target beside them. All others stand behind a button."""
_DOUBLINGS = 14


@dataclass(frozen=True, slots=True)
class Slider:
    """A number that may be moved."""

    key: str
    label: str
    group: str
    unit: str
    limits: tuple[float, float]
    value: Callable[[Setup], float | None]  # where a setup has it
    _: KW_ONLY
    log: bool = False
    stops: tuple[float, ...] = ()
    doubles: bool = False  # whether it has full stops of its own, from where the setup has it

    def described(self, setup: Setup) -> dict[str, Any]:
        """Describe it for the page, with where a setup has it."""
        value = self.value(setup)
        return {
            "kind": "slider",
            "key": self.key,
            "label": self.label,
            "group": self.group,
            "unit": self.unit,
            "low": self.limits[0],
            "high": self.limits[1],
            "log": self.log,
            "value": value,
            "first": self.key in FIRST,
            "ticks": list(self._doubled(value) if self.doubles and value else self.stops),
        }

    def _doubled(self, value: float) -> Iterator[float]:
        """Give full stops from a value, up and down."""
        low, high = self.limits
        for power in range(-_DOUBLINGS, _DOUBLINGS + 1):
            found = float(f"{value * 2.0**power:.6g}")
            if low <= found <= high:
                yield found


@dataclass(frozen=True, slots=True)
class Picker:
    """One of a few words or numbers."""

    key: str
    label: str
    group: str
    choices: tuple[str | int, ...]

    def value(self, setup: Setup) -> str | int:
        """Tell what a setup has."""
        section, _, key = self.key.partition(".")
        own: str | int = setup.texts[section][key]
        return own

    def described(self, setup: Setup) -> dict[str, Any]:
        """Describe it for the page; what the setup has is among the choices."""
        own = self.value(setup)
        return {
            "kind": "picker",
            "key": self.key,
            "label": self.label,
            "group": self.group,
            "choices": list(self.choices) if own in self.choices else [own, *self.choices],
            "value": own,
            "first": self.key in FIRST,
        }
