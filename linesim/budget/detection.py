"""The detection figures: how surely the smallest defect is found, and which would be."""

from dataclasses import dataclass

import numpy as np

from linesim.budget.figures import Group
from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.defect_shapes import Disc, Scratch, Shape
from linesim.metrics.defect_sizes import disc_of, sizes_um, smallest_um
from linesim.metrics.detection import (
    ROSE,
    alarm_threshold,
    detection_rate,
    dprime,
    false_alarms_per_m2,
    miss_margin,
    wanted_dprime,
)
from linesim.setup.setup import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """
    What is looked for, and how surely; each number may be an array.

    Parameters
    ----------
    contrast : float
        Of the defect, as a share of white.
    detection_rate : float
        Share of the defects to find.
    false_alarms_per_m2 : float
        Allowed. [1/m²]
    sides_um : tuple of float or None
        Across and along, of the smallest defect; ``None`` leaves its own figures out. [µm]
    shape : str
        "disc", "scratch-along" or "scratch-across".
    """

    contrast: Figure
    detection_rate: Figure
    false_alarms_per_m2: Figure
    sides_um: tuple[Figure, Figure] | None = None
    shape: str = "disc"

    @property
    def width_um(self) -> Figure | None:
        """Diameter of a disc, width of a scratch. [µm]."""
        if self.sides_um is None:
            return None
        across_um, along_um = self.sides_um
        return along_um if self.shape == "scratch-across" else across_um

    def of_width(self, width_um: Figure) -> Shape:
        """Give the smallest defect another diameter, or as a scratch another width."""
        if self.shape == "disc" or self.sides_um is None:
            return Disc(diameter_um=width_um)
        across_um, along_um = self.sides_um
        if self.shape == "scratch-along":
            return Scratch(across_um=width_um, along_um=along_um)
        return Scratch(across_um=across_um, along_um=width_um)


def search(setup: Setup) -> Search:
    """
    Take out of a setup what is looked for.

    Parameters
    ----------
    setup : Setup
        The station.

    Returns
    -------
    Search
        Plain numbers.
    """
    return Search(
        contrast=setup.requirement.defect_contrast,
        detection_rate=setup.wanted_detection_rate,
        false_alarms_per_m2=setup.allowed_false_alarms_per_m2,
        sides_um=setup.defect_sides_um,
        shape=setup.requirement.defect_shape,
    )


def detection_group(numbers: Station, wanted: Search) -> Group:
    """
    Give the figures of detection.

    Parameters
    ----------
    numbers : Station
        The station.
    wanted : Search
        What is looked for.

    Returns
    -------
    dict
        Figures by name; those of the smallest defect only where its size is given.
    """
    white_e, place = numbers.electrons_white, numbers.geometry
    needed = wanted_dprime(numbers, wanted.detection_rate, wanted.false_alarms_per_m2)
    smallest, by_rose = sizes_um(numbers, disc_of, (needed, ROSE), contrast=wanted.contrast)
    group: Group = {
        "defect_cnr": wanted.contrast * white_e / numbers.noise_e(white_e),
        "alarm_threshold": alarm_threshold(numbers, wanted.false_alarms_per_m2),
        "smallest_detectable_um": smallest,
        "rose_diameter_um": by_rose,
        "rose_false_alarms_per_m2": false_alarms_per_m2(numbers, ROSE),
    }
    width_um = wanted.width_um
    if width_um is None or wanted.sides_um is None:
        return group
    across_um, along_um = wanted.sides_um
    step_um = np.maximum(numbers.timing.line_advance_um, place.object_pixel_y_um)
    seen = dprime(numbers, wanted.of_width(width_um), wanted.contrast)
    own: Group = {
        "defect_px_x": across_um / place.object_pixel_x_um,
        "defect_px_y": along_um / step_um,
        "defect_dprime": seen,
        "detection_rate": detection_rate(seen, group["alarm_threshold"]),
        "false_alarms_per_m2": false_alarms_per_m2(
            numbers, seen - miss_margin(wanted.detection_rate)
        ),
    }
    if wanted.shape != "disc":
        own["smallest_width_um"] = smallest_um(
            numbers, wanted.of_width, needed, contrast=wanted.contrast
        )
    return {**own, **group}
