"""
Frequency response from a slanted edge (e-SFR, ISO 12233).

Steps: the edge's place in each row (windowed centroid of the derivative), a robust line through
them, pixels projected on the edge's normal, four bins a pixel, derivative, window, Fourier
transform, and the derivative's own response divided out. Three things differ from the published
steps, to be nearer to the truth: the blur of the bins, sinc(f/4), is divided out as well (-2.55 %
at half a cycle a pixel otherwise), each bin's mean is corrected for where its pixels lie, and the
curve is a share of the step between the flat sides, not of the sum inside the window. The 2014
edition windows with a Hamming window, the 2023 edition with a Tukey window; this is a Tukey window,
flat over the middle three quarters.

Accuracy without noise, up to half a cycle a pixel: edges blurred by more than the pixel, 0.0005.
A bare square pixel holds frequencies that four bins a pixel fold back: 0.002, and 0.003 where the
tangent is a simple fraction (1/9) and the rows meet the edge at few phases. Eight bins bring this
to 0.0002 at most angles, but need more phases: keep away from tangents of 1/6 to 1/8.

What the window does to long tails: any region ends at some distance X from the edge, and light
spread further is missed. Diffraction, whose tails fall as 1/x², leaves 4/(π³ f_c X) outside (f_c
the cut-off in cycles/px), and the whole curve lies too high by that share: 0.0007 for f_c = 1.2 and
X = 160 px, 0.004 for X = 27 px. So the step is read at the ends of the region, and without noise
the window is as wide; noise narrows it (`choose_half_width`), which then costs accuracy only at
frequencies below 1/(2·half-width). A slope of the light across the region reads as a tail too:
correct it first, or give `half_width_px`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.metrics.edge.checks import (
    check_angle,
    check_noise,
    check_options,
    check_step,
    checked_values,
)
from linesim.metrics.edge.curve import (
    choose_half_width,
    first_crossing,
    frequency_response,
    mtf_noise,
    overshoot,
    rise_px,
)
from linesim.metrics.edge.line import Direction, EdgeLine, find_direction, locate_edge
from linesim.metrics.edge.spread import gather_spread
from linesim.setup.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeResponse:
    """
    What a slanted edge tells about an image.

    All distances and frequencies run along the edge's normal: a pixel here is the pitch of the axis
    that the normal is nearest to (across or along), so that frequencies carry the cosine of the
    angle already.
    """

    direction: Direction  # {"across", "along"}; the axis nearest to the normal
    # angle between the edge and the axis nearest to it, in physical units; positive where the edge
    # goes to higher columns with higher lines, or to higher lines with higher columns [°]
    angle_deg: float
    # first frequency at which the response falls to 50 % and 10 %; None where it does not up to the
    # end of the curve [cycles/px]
    mtf50_cyc_px: float | None
    mtf10_cyc_px: float | None
    mtf_nyquist: float  # response at half a cycle a pixel
    rise_10_90_px: float  # distance from 10 % to 90 % of the step [px]
    # excess over the bright or under the dark level, share of the step; 0 where none stands out by
    # four standard deviations of the noise
    overshoot: float
    # shape (n,); the response, from 0 to 1 cycles/px in steps of 0.005 for four bins a pixel; noise
    # cannot make it smaller than nothing, so where the truth is near 0 it reads high
    frequency_cyc_px: FloatArray
    mtf: FloatArray
    # shape (bins,); edge spread from 0 (dark) to 1 (bright), each value the mean over one bin [px]
    position_px: FloatArray
    edge_spread: FloatArray
    half_width_px: float  # half-width of the window [px]
    edge_length_px: int  # rows (or columns) of the image used
    # standard deviation of the rows' edge positions about the line [px]: noise, aliasing, and a
    # line that is not straight
    scatter_px: float
    # height of the edge, and standard deviation of a pixel, in the image's units
    step: float
    noise: float
    mtf_noise: float  # standard deviation that the noise gives the response at 0.25 cycles/px
    pitch: float  # length of the pixel of the frequencies, in the unit of `pixel_pitch`
    line: EdgeLine  # where the edge lies; for an edge along, rows and columns are exchanged
    levels: tuple[float, float]  # dark and bright level, in the image's units

    @property
    def frequency_per_unit(self) -> FloatArray:
        """Frequencies in cycles per unit of `pixel_pitch`."""
        return self.frequency_cyc_px / self.pitch


def edge_response(  # noqa: PLR0913 -- one measurement, its options by keyword
    image: NDArray[np.generic],
    *,
    direction: Direction | None = None,
    pixel_pitch: tuple[float, float] = (1.0, 1.0),
    bins_per_pixel: int = 4,
    undo_bin_width: bool = True,
    half_width_px: float | None = None,
    limits: tuple[float, float] | None = None,
) -> EdgeResponse:
    """
    Measure the response of one straight slanted edge.

    Parameters
    ----------
    image : ndarray of shape (lines, width)
        One channel, linear in light, holding a dark and a bright area with the edge between them.
    direction : {"across", "along"}, optional; axis nearest to the edge's normal; left out: found
    pixel_pitch : tuple of float
        Pitch of the samples along and across (line advance, object pixel) in one length unit.
    bins_per_pixel : int; bins a pixel on the normal
    undo_bin_width : bool
        Divide out the blur of the bins, sinc(f/bins_per_pixel); False leaves it in.
    half_width_px : float, optional
        How far from the edge the image is used; left out, or more than there is: as far as every
        row allows. [px]
    limits : tuple of float, optional
        Lowest and highest value that the image can hold; left out: the range of an integer type,
        none for floats.

    Raises
    ------
    InputError
        Not one channel of finite numbers, too small, clipped, no edge, too short, too near to an
        axis or to the diagonal, too noisy, more than one edge.

    References
    ----------
    ISO 12233:2014, 6.2.4 and 6.2.5 (edge line, four bins a pixel, derivative and its correction).
    """
    check_options(direction, pixel_pitch, bins_per_pixel, half_width_px)
    values = checked_values(image, limits)
    found = find_direction(values, pixel_pitch) if direction is None else direction
    across = found == "across"
    view = values if across else values.T
    line = locate_edge(view)
    pitch, advance = pixel_pitch[::-1] if across else pixel_pitch
    angle = float(np.arctan(line.slope * pitch / advance))
    check_angle(line, float(np.degrees(angle)))
    spread = gather_spread(view, line, float(np.cos(angle)), bins_per_pixel)
    if half_width_px is not None:
        spread = spread.central(half_width_px)
    check_step(spread)
    window = choose_half_width(spread, rise_px(spread, undo_bin_width=True))
    check_noise(spread, window)
    frequency, mtf = frequency_response(spread, window, undo_bin_width=undo_bin_width)
    return EdgeResponse(
        direction=found,
        angle_deg=float(np.degrees(angle)),
        mtf50_cyc_px=first_crossing(frequency, mtf, 0.5),
        mtf10_cyc_px=first_crossing(frequency, mtf, 0.1),
        mtf_nyquist=float(np.interp(0.5, frequency, mtf)),
        rise_10_90_px=rise_px(spread, undo_bin_width=undo_bin_width),
        overshoot=overshoot(spread),
        frequency_cyc_px=frequency,
        mtf=mtf,
        position_px=spread.position_px,
        edge_spread=(spread.value - spread.levels[0]) / spread.step,
        half_width_px=window,
        edge_length_px=line.rows,
        scatter_px=line.scatter_px,
        step=spread.step,
        noise=spread.noise,
        mtf_noise=mtf_noise(spread, window),
        pitch=float(pitch),
        line=line,
        levels=spread.levels,
    )
