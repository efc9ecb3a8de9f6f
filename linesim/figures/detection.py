"""The detection figures: how surely the smallest defect is found, and which would be."""

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

import numpy as np

from linesim.figures.groups import Group
from linesim.figures.product import brightest_share, product_share, wanted_texture
from linesim.figures.reliefs import WAVES, sought_relief
from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.detection.energy import Disc, Scratch, Shape
from linesim.metrics.detection.flanks import DARKEST, Relief
from linesim.metrics.detection.ground import Ground, ground, ground_of_changes
from linesim.metrics.detection.pictured import seen_change
from linesim.metrics.detection.search import threshold_at
from linesim.metrics.detection.sighting import (
    ROSE,
    Sighting,
    alarm_threshold,
    detection_rate,
    false_alarms_per_m2,
    sighting_of,
    wanted_dprime,
)
from linesim.metrics.detection.sizes import Goal, disc_of, sizes_um
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.targets.load import TargetSize

_OF_BOTH = frozenset({"alarm_threshold", "texture_share"})
_BY_GOAL = frozenset({"smallest_detectable_um", *_OF_BOTH})
_BY_ROSE = frozenset({"rose_diameter_um", "rose_false_alarms_per_m2"})
_PREDICTED = frozenset({"defect_contrast", "defect_cnr"})
_OWN = frozenset(
    {
        "defect_px_x",
        "defect_px_y",
        "defect_dprime",
        "detection_rate",
        "false_alarms_per_m2",
        "smallest_width_um",
        "smallest_relief_um",
        *_PREDICTED,
        *_OF_BOTH,
    }
)
_FIGURES = _BY_GOAL | _BY_ROSE | _OWN
"""All figures: of a size found, or of the smallest defect."""
Lying = tuple[Ground, Callable[[Shape], Sighting]]
"""What defects lie on, and how any shape of them is sighted there."""
_WIDEST_UM = 1e7
"""Of a fault with relief; one that would have to be wider is never found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What is looked for, and how surely; each number may be an array."""

    contrast: Figure  # of the defect, as a share of the product's level
    detection_rate: Figure  # share of the defects to find
    false_alarms_per_m2: Figure
    # across and along, of the smallest defect; ``None`` leaves its own figures out [µm]
    sides_um: tuple[Figure, Figure] | None = None
    # "disc", "scratch-along", "scratch-across", or the kind of a fault with relief
    shape: str = "disc"
    # levels of good product and of the brightest part of the target, as shares of white
    product: Figure = 1.0
    brightest: Figure = 1.0
    texture: Texture | None = None  # of the product, as noise
    # how bright the product is under the outermost pixel, over the middle in one light
    ends: Figure = 1.0
    relief: Relief | None = None  # the smallest defect, where it has relief

    @property
    def at_ends(self) -> "Search":
        """The same under the outermost pixel."""
        return replace(
            self,
            product=self.product * np.asarray(self.ends),
            brightest=self.brightest * np.asarray(self.ends),
            ends=1.0,
        )

    @property
    def width_um(self) -> Figure | None:
        """Diameter of a disc, width of a scratch or of a fault with relief. [µm]."""
        if self.relief is not None:
            return self.relief.width_um
        if self.sides_um is None:
            return None
        across_um, along_um = self.sides_um
        return along_um if self.shape == "scratch-across" else across_um

    def of_width(self, width_um: Figure) -> Shape:
        """Give the smallest defect another diameter, or as a scratch another width."""
        if self.relief is not None:
            return replace(self.relief, width_um=np.minimum(width_um, _WIDEST_UM))
        if self.shape == "disc" or self.sides_um is None:
            return Disc(diameter_um=width_um)
        across_um, along_um = self.sides_um
        if self.shape == "scratch-along":
            return Scratch(across_um=width_um, along_um=along_um)
        return Scratch(across_um=across_um, along_um=width_um)


def search(setup: Setup, size: TargetSize) -> Search:
    """Take out of a setup what is looked for, and on what."""
    product, need = product_share(setup, size), setup.requirement.defect_relief
    return Search(
        contrast=setup.requirement.defect_contrast,
        detection_rate=setup.wanted_detection_rate,
        false_alarms_per_m2=setup.allowed_false_alarms_per_m2,
        sides_um=setup.defect_sides_um,
        shape=setup.requirement.defect_shape if need is None else need.kind,
        product=product,
        brightest=brightest_share(setup, size),
        texture=wanted_texture(setup, size),
        ends=size.ends,
        relief=sought_relief(setup, product),
    )


def found_at(numbers: Station, wanted: Search) -> Goal:
    """Give the goal of finding the wanted share at the false alarms allowed."""

    def goal(seen: Sighting) -> FloatArray:
        return wanted_dprime(numbers, seen.bank, wanted.detection_rate, wanted.false_alarms_per_m2)

    return goal


def rose(seen: Sighting) -> FloatArray:
    """Give the goal of Rose's criterion."""
    return np.full(seen.dprime.shape, ROSE)


def ground_of(numbers: Station, wanted: Search) -> Ground:
    """Work out the product that a defect lies on."""
    return ground(numbers, wanted.product, wanted.contrast, wanted.texture)


def detection_group(
    numbers: Station, wanted: Search, names: Collection[str] | None = None
) -> Group:
    """
    Give the figures of detection, all or those named, as sizes take their time.

    Those of the smallest defect are there only where its size is given. The threshold is that of
    the search for the smallest defect; without one, for the smallest disc found.
    """
    base = ground_of(numbers, wanted)
    asked = _FIGURES if names is None else frozenset(names)
    sized = wanted.width_um is not None
    sighted = sighting_of(numbers, base)
    own: Group = {}
    if sized and wanted.relief is None:
        own = _own_group(numbers, wanted, (base, sighted), asked & _OWN)
    elif sized:
        changes = ground_of_changes(numbers, wanted.product, wanted.texture)
        own = _own_group(numbers, wanted, (changes, sighting_of(numbers, changes)), asked & _OWN)
    return {
        "defect_cnr": base.depth_e / np.asarray(base.temporal_e),
        **_disc_group(numbers, wanted, (base, sighted), asked - _OF_BOTH if sized else asked),
        **own,
    }


def _disc_group(numbers: Station, wanted: Search, on: Lying, asked: frozenset[str]) -> Group:
    """Give the discs that are just found as wanted, and by Rose's criterion."""
    kinds = ((found_at(numbers, wanted), _BY_GOAL), (rose, _BY_ROSE))
    chosen = [(goal, names) for goal, names in kinds if asked & names]
    if not chosen:
        return {}
    base, sighted = on
    sizes = sizes_um(numbers, disc_of, [goal for goal, _ in chosen], base, sighted)
    group: Group = {}
    for (_, names), size_um in zip(chosen, sizes, strict=True):
        seen, there = sighted(disc_of(_finite(size_um, numbers))), np.isfinite(size_um)
        if names is _BY_ROSE:
            group["rose_diameter_um"] = size_um
            alarms = false_alarms_per_m2(numbers, seen.bank, ROSE)
            # no size, no search for it: no figure of it either
            group["rose_false_alarms_per_m2"] = np.where(there, alarms, np.nan)
            continue
        threshold = alarm_threshold(numbers, seen.bank, wanted.false_alarms_per_m2)
        group["alarm_threshold"] = np.where(there, threshold, np.nan)
        group["smallest_detectable_um"] = size_um
        if wanted.texture is not None:
            group["texture_share"] = 1 - np.asarray(seen.energies.noise_share)
    return group


def _finite(size_um: FloatArray, numbers: Station) -> FloatArray:
    """Stand an object pixel in for a size that is never found."""
    pixel_um = np.asarray(numbers.geometry.object_pixel_x_um, dtype=np.float64)
    return np.where(np.isfinite(size_um) & (size_um > 0), size_um, pixel_um)


def _own_group(numbers: Station, wanted: Search, on: Lying, asked: frozenset[str]) -> Group:
    """Give the figures of the smallest defect."""
    width_um, place = wanted.width_um, numbers.geometry
    if width_um is None or wanted.sides_um is None or not asked:
        return {}
    across_um, along_um = wanted.sides_um
    step_um = np.maximum(numbers.timing.line_advance_um, place.object_pixel_y_um)
    base, sighted = on
    seen = sighted(wanted.of_width(width_um))
    threshold = alarm_threshold(numbers, seen.bank, wanted.false_alarms_per_m2)
    own: Group = {
        "defect_px_x": across_um / place.object_pixel_x_um,
        "defect_px_y": along_um / step_um,
        "defect_dprime": seen.dprime,
        "alarm_threshold": threshold,
        "detection_rate": detection_rate(seen, threshold),
    }
    if "false_alarms_per_m2" in asked:
        highest = threshold_at(seen.bank, seen.dprime, wanted.detection_rate)
        own["false_alarms_per_m2"] = false_alarms_per_m2(numbers, seen.bank, highest)
    if wanted.texture is not None:
        own["texture_share"] = 1 - np.asarray(seen.energies.noise_share)
    if wanted.relief is not None:
        return {**own, **_relief_group(numbers, wanted, on, asked)}
    if wanted.shape != "disc" and "smallest_width_um" in asked:
        goal = found_at(numbers, wanted)
        own["smallest_width_um"] = sizes_um(numbers, wanted.of_width, (goal,), base, sighted)[0]
    return own


def _relief_group(numbers: Station, wanted: Search, on: Lying, asked: frozenset[str]) -> Group:
    """Give what a fault with relief changes at most, that against the noise, and the narrowest."""
    own: Group = {}
    base, sighted = on
    if wanted.relief is not None and asked & _PREDICTED:
        change = seen_change(numbers, wanted.relief)
        dark = np.asarray(wanted.product) <= DARKEST
        # where the product sends back next to nothing there is no share of it
        own["defect_contrast"] = np.where(dark, np.nan, change)
        own["defect_cnr"] = np.abs(change) * base.depth_e / np.asarray(base.temporal_e)
    if "smallest_relief_um" in asked:
        goals = (found_at(numbers, wanted),)
        found_um = sizes_um(numbers, wanted.of_width, goals, base, sighted)[0]
        found_um = np.maximum(found_um, WAVES * np.asarray(numbers.optics.wavelength_um))
        own["smallest_relief_um"] = np.where(found_um < _WIDEST_UM, found_um, np.inf)
    return own
