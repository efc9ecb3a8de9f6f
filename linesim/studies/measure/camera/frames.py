"""Frames of a camera read off their files: what each group of the same light shows."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.files.manifest_rows import Group
from linesim.metrics.flat.noise import FrameFigures, frame_figures
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.studies.measure.camera.word import Word, load_frame, model_of

Progress = Callable[[int, int], None]
Frames = NDArray[np.uint16]
_DRIFT = 0.05
"""Share of their mean by which frames of the same light may differ; our choice."""
_DRIFT_SD = 10.0
"""And so many standard errors of it; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """What the frames of one group show."""

    group: Group  # kind, exposure, light
    figures: FrameFigures  # mean and variances
    column_dn: FloatArray  # shape (columns,); mean of each column over lines and frames [DN]
    highest_dn: int  # largest sample [DN]
    share_highest: float  # shares of samples that show it, and that show 0
    share_lowest: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CameraFrames:
    """All groups of a table."""

    seen: tuple[Seen, ...]
    word: Word
    shape: tuple[int, int]
    cautions: tuple[str, ...]


def read_frames(
    groups: Sequence[Group],
    *,
    bit_depth: int | None,
    max_pixels: int | None = None,
    progress: Progress | None = None,
) -> CameraFrames:
    """Read the frames of all groups, one group in memory at a time."""
    model = model_of([row for group in groups for row in group.rows], bit_depth, max_pixels)
    found: list[Seen] = []
    faults: list[str] = []
    cautions: list[str] = []
    for done, group in enumerate(groups, start=1):
        frames: list[Frames] = []
        refusals: list[str] = []
        for row in group.rows:
            frame, fault, odd = load_frame(row, model)
            frames += [frame] if frame is not None else []
            refusals += fault
            cautions += odd
        if not refusals:
            found.append(_seen(group, np.stack(frames)))
            refusals += _drift(found[-1], frames)
        faults += refusals
        if progress is not None:
            progress(done, len(groups))
    if faults:
        raise InputError(*faults)
    return CameraFrames(
        seen=tuple(found), word=model.word, shape=model.shape, cautions=tuple(cautions)
    )


def _seen(group: Group, frames_dn: Frames) -> Seen:
    highest = int(frames_dn.max())
    return Seen(
        group=group,
        figures=frame_figures(frames_dn),
        column_dn=frames_dn.mean(axis=(0, 1), dtype=np.float64),
        highest_dn=highest,
        share_highest=float(np.mean(frames_dn == highest)),
        share_lowest=float(np.mean(frames_dn == 0)),
    )


def _drift(seen: Seen, frames: Sequence[Frames]) -> Iterator[str]:
    """Refuse frames of another light, or of a lamp that was not steady."""
    means_dn = np.array([frame.mean(dtype=np.float64) for frame in frames])
    noise_dn = np.sqrt(seen.figures.temporal_dn2.value / frames[0].size)
    if np.ptp(means_dn) > max(_DRIFT * means_dn.mean(), _DRIFT_SD * noise_dn):
        yield (
            f"manifest {seen.group.lines}: the frames are said to be of the same light, but their "
            f"means go from {means_dn.min():.4g} to {means_dn.max():.4g} DN; expected a "
            "steady light, and other light told in a column irradiance_w_m2 or photons"
        )
