"""What a setup predicts of its own target, rendered wherever the target really lies."""

from dataclasses import dataclass, field

import numpy as np

from linesim.forward.profile import column_profile
from linesim.forward.reference import Reference
from linesim.forward.render import expected_of
from linesim.forward.sampling.placement import AS_SET_UP, Placement
from linesim.forward.sensor.linearity import shown_e
from linesim.forward.station import Station, station
from linesim.metrics.scene.affine import Affine
from linesim.setup.arrays import FloatArray
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference

_MOST_SEARCHED = 4
_MORE_LINES = 2000
"""Lines of a long target that are looked through: so many times the image's, and these."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """A setup whose web runs evenly, and its target, ready to be rendered anywhere."""

    setup: Setup
    reference: Reference
    numbers: Station = field(init=False)

    def __post_init__(self) -> None:
        """Work out the station's numbers once."""
        object.__setattr__(self, "numbers", station(self.setup))

    @property
    def width_px(self) -> int:
        """Columns that the setup delivers."""
        return int(self.numbers.geometry.image_width_px)

    @property
    def sides_um(self) -> tuple[float, float]:
        """Distance of lines and of columns on the target. [µm]."""
        geometry, timing = self.numbers.geometry, self.numbers.timing
        return float(timing.line_advance_um), float(geometry.object_pixel_x_um)

    @property
    def target_px(self) -> tuple[float, float]:
        """Size of the target along and across, in lines and columns; endless where it repeats."""
        if self.setup.target.repeat:
            return np.inf, np.inf
        rows, columns = self.reference.shape[:2]
        along_um, across_um = self.sides_um
        pitch_um = self.reference.pixel_size_um
        return rows * pitch_um / along_um, columns * pitch_um / across_um

    def all_lines(self, lines: int) -> FloatArray:
        """Give the numbers of lines among which an image of so many is looked for."""
        rows_px = self.reference.shape[0] * self.reference.pixel_size_um / self.sides_um[0]
        most = min(rows_px, _MOST_SEARCHED * lines + _MORE_LINES)
        if self.setup.target.repeat:
            most = most + lines
        return np.arange(-(lines // 4), np.ceil(most) + lines // 4)

    def expected_dn(self, lines: FloatArray, placement: Placement = AS_SET_UP) -> FloatArray:
        """
        Give noise-free numbers.

        Parameters
        ----------
        lines : ndarray of shape (n,); numbers of delivered lines
        """
        signal_e = expected_of(self.setup, self.reference, lines, placement).astype(np.float64)
        if self.setup.acquisition.flat_field:
            signal_e /= column_profile(self.setup, self.width_px)[:, None]
        for index, one in enumerate(self.numbers.by_colour):
            charge_e = shown_e(one, signal_e[:, :, index] + float(one.delivered_dark_e))
            signal_e[:, :, index] = one.delivered.number_dn(charge_e)
        return signal_e

    def base_dn(self, channel: int) -> float:
        """Give the number of no light. [DN]."""
        one = self.numbers.by_colour[channel]
        return float(one.delivered.number_dn(float(one.delivered_dark_e)))

    def noise_dn(self, expected_dn: FloatArray, channel: int) -> FloatArray:
        """Give the noise in time at numbers of one channel. [DN]."""
        one = self.numbers.by_colour[channel]
        signal_e = one.delivered.charge_e(expected_dn) - float(one.delivered_dark_e)
        return np.asarray(one.delivered.gain_dn_e * one.noise_e(np.maximum(signal_e, 0)))

    def own_variance_dn2(self, expected_dn: FloatArray, channel: int) -> FloatArray:
        """Give the variance in time that a sample shares with no other of its line. [DN²]."""
        one = self.numbers.by_colour[channel]
        shared_dn = float(one.delivered.gain_dn_e * one.line_noise_e)
        return self.noise_dn(expected_dn, channel) ** 2 - shared_dn**2

    def placement(
        self, lies: Affine, first_column: int, strays_px: FloatArray, sways_px: FloatArray
    ) -> Placement:
        """
        Put the target where an image shows it.

        Parameters
        ----------
        lies : Affine; of the image, in lines and columns that the setup would deliver [px]
        strays_px, sways_px : ndarray of shape (lines,); along and across, of each line [px]
        """
        advance_um, side_um = self.sides_um
        step, (ic, jc) = lies.steps, lies.middle_px
        half = self.width_px / 2 - 0.5
        scale = 1 + step.grow_across
        # the column on the axis, and where the image's middle column looks, from the axis
        across_um = (jc + step.across + scale * (half - first_column - jc) - half) * side_um
        middle_um = (jc + step.across - half) * side_um
        tilt = step.tilt * advance_um / (side_um * scale)
        return Placement(
            across_um=across_um,
            along_um=step.along * advance_um - tilt * middle_um,
            scale_across=scale,
            scale_along=1 + step.grow_along,
            tilt=tilt,
            drift=step.drift * side_um / advance_um,
            middle_um=ic * advance_um,
            strays_um=strays_px * advance_um,
            sways_um=sways_px * side_um,
        )


def prediction(setup: Setup, reference: Reference | None = None) -> Prediction:
    """
    Make a prediction whose lines lie where they would on an evenly running web.

    How the setup's web swings and shakes has a phase that no prediction knows.
    """
    exposure_us = float(np.max(station(setup).timing.exposure_us))
    still = {
        "transport.speed_ripple": 0.0,
        "transport.line_jitter": "0 um",
        "transport.lateral_wander": "0 um",
        "transport.encoder_turn_error": "0 um",
        "light.flicker": 0.0,
        "acquisition.exposure": f"{exposure_us!r} us",
    }
    own = changed(setup, still)
    target = target_reference(own) if reference is None else reference
    return Prediction(setup=own, reference=lit_reference(own, target))
