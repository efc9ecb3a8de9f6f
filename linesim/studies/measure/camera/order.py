"""Whether the frames are as bright as the table says: more light, more signal."""

from collections.abc import Iterator, Sequence

import numpy as np

from linesim.metrics.camera.series import Series
from linesim.studies.measure.camera.frames import Seen

_FALLS = 0.05
"""Share of the signal by which a brighter step may read darker; our choice."""
_FALLS_SD = 10.0
"""And so many standard errors of the means; our choice."""


def order_faults(series: Series, steps: Sequence[Seen], last: int) -> Iterator[str]:
    """Find frames that cannot be what the table says, as after a mix-up of files."""
    signal_dn, sd_dn = series.signal_dn, _FALLS_SD * series.lit.mean_sd_dn
    for place, seen in enumerate(steps):
        if signal_dn[place] < -sd_dn[place]:
            yield (
                f"manifest {seen.group.lines}: the flat frames are darker than the dark ones of "
                f"the same exposure, by {-signal_dn[place]:.4g} DN; expected light in them"
            )
    for place in range(1, last + 1):
        before = int(np.argmax(signal_dn[:place]))
        fall_dn = signal_dn[before] - signal_dn[place]
        if fall_dn > max(_FALLS * signal_dn[before], sd_dn[place]):
            yield (
                f"manifest {steps[place].group.lines}: the signal is {signal_dn[place]:.4g} DN, "
                f"but {steps[before].group.lines} with no more light have {signal_dn[before]:.4g} "
                "DN; expected more signal from more light"
            )
