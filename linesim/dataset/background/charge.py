"""Samples of a scan as signal electrons, by the figures of the station that took it."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from linesim.forward.channels import channels
from linesim.forward.profile import column_profile
from linesim.forward.station import station
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Charge:
    """How one channel's samples and electrons belong together."""

    black_dn: float  # number of no signal, dark current with it [DN]
    gain_dn_e: FloatArray  # shape (columns,); what a flat field lifts is lifted here too [DN/e]
    white_e: FloatArray  # shape (columns,); signal on white [e]
    dark_e2: float  # variance of a sample without signal: reading, dark current, rounding [e²]

    def signal_e(self, samples: FloatArray) -> FloatArray:
        """Give the signal behind samples, negative where noise took it there. [e]."""
        return np.asarray((samples - self.black_dn) / self.gain_dn_e)


def charges(setup: Setup) -> tuple[Charge, ...]:
    """Take what turns samples into electrons out of a station, one a channel, fields flat."""
    numbers, found = station(setup), []
    for channel in channels(setup, numbers):
        one = numbers.by_colour[channel.index]
        profile = column_profile(setup, int(numbers.geometry.image_width_px))
        lifted = 1 / profile if setup.acquisition.flat_field else np.ones_like(profile)
        gain_dn_e = float(one.delivered.gain_dn_e) * lifted
        dark_dn = float(one.delivered.gain_dn_e) * float(one.delivered_dark_e)
        found.append(
            Charge(
                black_dn=float(one.delivered.black_level_dn) + dark_dn,
                gain_dn_e=gain_dn_e,
                white_e=channel.white_e * profile,
                dark_e2=float(one.sample_noise_e(0.0)) ** 2,
            )
        )
    return tuple(found)


def by_channel(image: NDArray[Any]) -> NDArray[Any]:
    """Give an image of shape (lines, columns, channels), grey or colour."""
    return image if image.ndim == 3 else image[:, :, None]  # noqa: PLR2004 -- with channels
