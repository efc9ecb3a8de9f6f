"""
Which share of each delivered pixel's own footprint lies on something: sampling without the optics.

The same line tables, pixels, travel and faults of the transport as for an image, but a lens that
blurs nothing, in a light that is even over place and time. A target of 1 gives 1. With a mask for a
target this gives the true area of the mask in each sample, wherever station and motion put it; how
much of it can be seen is for the image to say.
"""

from dataclasses import replace

import numpy as np

from linesim.forward.channels import Channel
from linesim.forward.expose import Exposer, Exposure
from linesim.forward.reference import Reference
from linesim.forward.sampling.fineness import least_side_um
from linesim.forward.sampling.matrices import Made, sampler
from linesim.forward.spread import point_spread
from linesim.forward.station import station
from linesim.setup.setup import Setup


def bare_exposer(setup: Setup, reference: Reference, channel: Channel) -> Exposer:
    """
    Build the tables of one channel.

    Parameters
    ----------
    setup : Setup
    reference : Reference; the target, or any other of the same pixels
    channel : Channel; whose line of sight

    Returns
    -------
    Exposer; gives shares, not electrons: one exposure for each joined line, all together the whole
    """
    numbers = station(setup)
    lines, columns = int(numbers.geometry.lines_joined), int(numbers.geometry.image_width_px)
    point = point_spread(least_side_um(numbers))
    made_of = Made(lambda _: point, (1, 1), np.full(columns, 1 / lines))
    even = replace(channel, bands=np.full(3, 1 / 3))
    return Exposer(
        setup=setup,
        numbers=numbers,
        channel=channel,
        exposures=tuple(Exposure(offset_um=0.0, line=line) for line in range(lines)),
        heights_mm=np.zeros(1),
        samplers=(sampler(setup, numbers, reference, even, made_of),),
        ambient=np.ones(columns),
    )
