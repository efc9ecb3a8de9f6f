"""The defect that must be found, put into the target at a few places for eyes to find."""

from collections.abc import Iterator
from dataclasses import replace

from linesim.defects.defective import DefectiveReference
from linesim.defects.pose import Pose
from linesim.defects.round_faults import Pinhole
from linesim.preview.references import Ready
from linesim.setup.setup import Setup

_ACROSS, _DOWN = 5, 3
Places = tuple[tuple[float, float], ...]


def can_be_put_in(setup: Setup) -> bool:
    """Tell whether a setup asks for a disc of some contrast, on a matt face."""
    need = setup.requirement
    asked = need.smallest_defect_um is not None and need.defect_shape == "disc"
    return asked and need.defect_relief is None and not setup.target.repeat


def places_on(ready: Ready, seen_mm: tuple[float, float]) -> Places:
    """Spread places over what is both target and scan."""
    pitch_mm = ready.reference.pixel_size_um / 1000
    rows, columns = ready.reference.shape[:2]
    wide_mm, tall_mm = min(columns * pitch_mm, seen_mm[0]), min(rows * pitch_mm, seen_mm[1])
    return tuple(_spread(wide_mm, tall_mm))


def _spread(wide_mm: float, tall_mm: float) -> Iterator[tuple[float, float]]:
    for row in range(_DOWN):
        for column in range(_ACROSS):
            # every other row half a step aside, so that no streak hides them all
            aside = (column + (0.35 if row % 2 else 0.65)) / _ACROSS - 0.5
            yield aside * wide_mm, (row + 0.5) / _DOWN * tall_mm


def with_defects(ready: Ready, setup: Setup, places: Places) -> Ready:
    """Put a requirement's defect into a target, at places across from the axis and along. [mm]."""
    need = setup.requirement
    size_um, contrast = need.smallest_defect_um or 0.0, need.defect_contrast
    disc = Pinhole(diameter_um=size_um, change=-contrast)
    faults = tuple(disc.at(Pose(x_mm=x_mm, y_mm=y_mm)) for x_mm, y_mm in places)
    return replace(
        ready,
        reference=DefectiveReference(base=ready.reference, faults=faults),
        key=(ready.key, size_um, contrast, places),
    )
