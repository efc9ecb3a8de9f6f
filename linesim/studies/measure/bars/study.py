"""
Groups of three bars in an image, simulated or captured: contrast by spatial frequency.

Single groups of three bars in any image, each in a region that the user names.

The ground is a straight line through the region's ends. Light that blur spreads further than the
region, as diffraction does a little of, is not missed there: the response reads higher by that
share, 0.02 at f/4 for bars of 7 px. A setup, which knows where there is nothing but ground, does
not lose it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from linesim.figures.cautions import Caution
from linesim.metrics.bars.figures import bar_figures
from linesim.metrics.bars.find import find_bars
from linesim.metrics.edge.line import find_direction
from linesim.metrics.region import Region
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError, refuse
from linesim.setup.load import load_setup
from linesim.setup.setup import Setup
from linesim.studies.measure.areas import Image
from linesim.studies.measure.bars.layout import MeasuredSet, layout_sets
from linesim.studies.measure.sharpness_input import Direction, Plane, direction_of, read_plane

_FEWEST_PX = 3
CONTRAST = 0.2
"""What counts as told apart where nobody says otherwise; our choice."""
DIRECTIONS: tuple[Direction, ...] = ("across", "along")


def captured_set(
    plane: Plane,
    region: Region,
    direction: Direction | None,
    pixel_pitch_um: tuple[float, float] | None,
) -> MeasuredSet:
    """Measure three bars in a region, and find how wide they are."""
    values = region.cut(plane.values).astype(np.float64)
    if min(values.shape) < _FEWEST_PX:
        refuse(f"--region: {region} read; expected {_FEWEST_PX} px or more each way")
    alternates = direction or find_direction(values, (1.0, 1.0))
    view = values if alternates == "across" else values.T
    profile = view.mean(axis=0)
    try:
        found = find_bars(profile)
    except InputError as refusal:
        msg = f"--region {region}: {refusal}"
        raise InputError(msg) from None
    figures = bar_figures(
        found.ground - profile,
        centre_px=found.centre_px,
        bar_px=found.bar_px,
        noise=max(_noise(view), found.noise),
    )
    return MeasuredSet(
        name=f"region {region}",
        alternates=alternates,
        frequency_cyc_px=0.5 / found.bar_px,
        pitch_um=None
        if pixel_pitch_um is None
        else pixel_pitch_um[0 if alternates == "across" else 1],
        figures=figures,
    )


def _noise(view: FloatArray) -> float:
    """Noise of one value of the mean along the bars; the bars' ends are no noise."""
    change = np.diff(view, axis=0)
    spread = 1.4826 * float(np.median(np.abs(change - np.median(change)))) / np.sqrt(2)
    return float(spread / np.sqrt(view.shape[0]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredBars:
    """The groups of bars of an image."""

    sets: tuple[MeasuredSet, ...]
    contrast: float
    plane: Plane
    from_setup: bool

    def along(self, direction: Direction) -> tuple[MeasuredSet, ...]:
        """Give the groups of one direction."""
        return tuple(each for each in self.sets if each.alternates == direction)

    def finest(self, direction: Direction) -> MeasuredSet | None:
        """Give the finest group that has the contrast wanted, as have all coarser ones."""
        found = None
        for each in self.along(direction):
            if not each.contrast >= self.contrast:
                break
            found = each
        return found

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What looks odd about the file."""
        return self.plane.cautions

    def as_dict(self) -> dict[str, object]:
        """Give all figures as JSON has them; what there is not is left out."""
        figures: dict[str, Any] = {**self.plane.described(), "contrast_wanted": self.contrast}
        for direction in DIRECTIONS:
            sets = self.along(direction)
            if not sets:
                continue
            finest = self.finest(direction)
            figures[direction] = {
                **({} if finest is None else {"finest": finest.as_dict()}),
                "sets": [each.as_dict() for each in sets],
            }
        return {**figures, "cautions": [each.as_dict() for each in self.cautions]}


def measure_bars(  # noqa: PLR0913 -- one measurement, its options by keyword
    image: Image,
    *,
    setup: Setup | Path | str | None = None,
    regions: Sequence[Region] = (),
    direction: str | None = None,
    channel: str | None = None,
    bit_depth: int | None = None,
    max_pixels: int | None = None,
    encoding: str = "linear",
    pixel_pitch_um: tuple[float, float] | None = None,
    contrast: float = CONTRAST,
) -> MeasuredBars:
    """
    Measure groups of three bars.

    Parameters
    ----------
    image : path, str or ndarray
        File, or samples of uint8 or uint16, shape (lines, width) or (lines, width, 3).
    setup : Setup, path or str, optional
        Of a simulated image of the built-in bar target: tells where every group lies.
    regions : sequence of Region, optional
        Of any image: one group each, three bars and ground about them.
    direction : {"across", "along"}, optional
        In which light and dark alternate; left out: both, or found in each region.
    channel : {"red", "green", "blue"}, optional; of a colour image; left out, green
    bit_depth : int, optional; bits of a sample; left out: found
    pixel_pitch_um : tuple of float, optional
        Pitch of the samples on the target, across and along; a setup knows it. [µm]

    Raises
    ------
    InputError; where an option or the image is refused, or no bars are found
    """
    asked = direction_of(direction)
    _refuse_options(setup, regions, pixel_pitch_um, contrast)
    plane = read_plane(
        image, channel=channel, bit_depth=bit_depth, max_pixels=max_pixels, encoding=encoding
    )
    if setup is None:
        found = [captured_set(plane, region, asked, pixel_pitch_um) for region in regions]
    else:
        given = setup if isinstance(setup, Setup) else load_setup(setup)
        found = layout_sets(plane, given)
    kept = [each for each in found if asked in (None, each.alternates)]
    return MeasuredBars(
        sets=tuple(sorted(kept, key=lambda each: each.frequency_cyc_px)),
        contrast=contrast,
        plane=plane,
        from_setup=setup is not None,
    )


def _refuse_options(
    setup: object,
    regions: Sequence[Region],
    pixel_pitch_um: tuple[float, float] | None,
    contrast: float,
) -> None:
    """Refuse what does not go together, all of it at once."""
    faults = []
    if (setup is None) == (not regions):
        read = "neither" if setup is None else "both"
        faults.append(
            f"--setup, --region: {read} given; expected the setup that made a scan of the built-in "
            "bar target, or the region of each group of three bars"
        )
    if setup is not None and pixel_pitch_um is not None:
        faults.append("--pixel-pitch: given beside --setup, which has it; expected one of them")
    if not 0 < contrast < 1:
        faults.append(f"--contrast: {contrast:g} read; expected above 0 and below 1, such as 0.2")
    if faults:
        raise InputError(*faults)
