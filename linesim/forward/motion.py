"""Place over time of a target whose speed ripples, and back."""

from dataclasses import dataclass

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup

_NEWTON_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Place over time."""

    speed_um_s: float
    ripple: float
    ripple_frequency_hz: float

    def place_um(self, time_s: FloatArray) -> FloatArray:
        """Travel since time 0. [µm]."""
        angular = 2 * np.pi * self.ripple_frequency_hz
        lag_s = self.ripple * (1 - np.cos(angular * time_s)) / angular
        return self.speed_um_s * (time_s + lag_s)

    def speed_at(self, time_s: FloatArray) -> FloatArray:
        """Speed at a time. [µm/s]."""
        angular = 2 * np.pi * self.ripple_frequency_hz
        return np.asarray(self.speed_um_s * (1 + self.ripple * np.sin(angular * time_s)))

    def time_s(self, place_um: FloatArray) -> FloatArray:
        """Give the time at which a place is reached, by Newton's method kept within its bracket."""
        swing_s = self.ripple / (np.pi * self.ripple_frequency_hz)
        high = place_um / self.speed_um_s
        low = high - swing_s
        time = high
        for _ in range(_NEWTON_STEPS if self.ripple > 0 else 0):
            over = self.place_um(time) - place_um
            high, low = np.where(over > 0, time, high), np.where(over > 0, low, time)
            newton = time - over / self.speed_at(time)
            time = np.where((newton >= low) & (newton <= high), newton, (low + high) / 2)
        return np.asarray(time)


def motion(setup: Setup) -> Motion:
    """Take the motion out of a setup."""
    return Motion(
        speed_um_s=1000 * setup.transport.speed_mm_s,
        ripple=setup.transport.speed_ripple,
        ripple_frequency_hz=setup.transport.ripple_frequency_hz,
    )
