"""Why a capture is not judged: it does not lie on the setup's target, or nobody can tell where."""

import numpy as np

from linesim.metrics.scene.affine import Steps
from linesim.setup.errors import refuse

_LEAST_CORRELATION = 0.3
"""Correlation under which a rough place is a chance; our choice."""
_MOST_GROWTH, _MOST_TURN = 0.12, 0.09
"""Stretch and tangent of a turn past which a place is none: what is searched, and half as much."""
_LEAST_SHOWN = 0.5
"""Correlation of detail with the prediction's, over that which noise leaves; our choice."""


def refuse_chance(correlation: float, name: str) -> None:
    """Refuse a rough place that is a chance."""
    if correlation < _LEAST_CORRELATION:
        refuse(
            f"{name}: does not look like the setup's target, whichever way it is mirrored (best "
            f"correlation {correlation:.2f}); expected an image of target.image, turned by "
            "4 degrees and stretched by 8 % at most"
        )


def refuse_unlike(shown: float, possible: float, name: str) -> None:
    """Refuse a place whose correlation is far under that which noise would leave."""
    if shown < _LEAST_SHOWN * possible:
        refuse(
            f"{name}: cannot be brought into register with the setup's target (correlation "
            f"{shown:.2f} where it fits best, and noise alone would leave {possible:.2f}); "
            "expected an image of target.image, with more detail over the noise or more of the "
            "capture"
        )


def refuse_far_off(steps: Steps, name: str) -> None:
    """Refuse a place so far from those searched that it is a chance."""
    along, across, tilt, drift = map(abs, steps[2:])
    if max(along, across) > _MOST_GROWTH or max(tilt, drift) > _MOST_TURN:
        turned_deg = np.rad2deg(np.arctan(max(tilt, drift)))
        refuse(
            f"{name}: cannot be brought into register with the setup's target: what fits best is "
            f"stretched by {max(along, across):.0%} and turned by {turned_deg:.0f} degrees; "
            "expected more detail over the noise, more of the capture than this part, or a setup "
            "that is nearer"
        )
