"""Frames of a camera read off their files: what each group of the same light shows."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.files.manifest_rows import Group, Light, Row
from linesim.files.samples_in import Samples, load_samples
from linesim.forward.collect import electrons
from linesim.metrics.flat.noise import FEWEST, FrameFigures, frame_figures
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.light.spectra import PHOTONS_PER_J_NM

_OWN = "as the file says"
_PLANE = 2
Progress = Callable[[int, int], None]
Frames = NDArray[np.uint16]
_DRIFT = 0.05
"""Share of their mean by which frames of the same light may differ; our choice."""
_DRIFT_SD = 10.0
"""And so many standard errors of it; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """How the camera's numbers lie in the files."""

    bit_depth: int
    factor: int
    source: str

    @property
    def full_scale_dn(self) -> int:
        """Largest number. [DN]."""
        return int((1 << self.bit_depth) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """What all frames must be like."""

    word: Word
    shape: tuple[int, int]
    max_pixels: int | None


def model_of(rows: Sequence[Row], bit_depth: int | None, max_pixels: int | None) -> Model:
    """Take the first frame that can be used as the model of all."""
    faults: list[str] = []
    for row in rows:
        samples, own_faults = _loaded(row, max_pixels)
        if samples is not None:
            word, shape = _word(samples, bit_depth), samples.image_dn.shape[:_PLANE]
            return Model(word=word, shape=shape, max_pixels=max_pixels)
        faults += own_faults
    raise InputError(*faults)


def load_frame(
    row: Row, model: Model
) -> tuple[NDArray[np.uint16] | None, list[str], tuple[str, ...]]:
    """Read one frame and hold it against the model."""
    samples, faults = _loaded(row, model.max_pixels)
    if samples is None:
        return None, faults, ()
    fault = _misfit(samples, model)
    if fault:
        return None, [f'{_name(row)} "{row.file.name}" {fault}'], ()
    image = samples.image_dn // np.uint16(model.word.factor)
    # the word of all is told once, not file by file
    odd = tuple(text for text in samples.cautions if "shifted up" not in text)
    return image, [], odd


def _name(row: Row) -> str:
    return f"manifest line {row.line}: file"


def _loaded(row: Row, max_pixels: int | None) -> tuple[Samples | None, list[str]]:
    try:
        samples = load_samples(row.file, key=_name(row), max_pixels=max_pixels)
    except InputError as fault:
        return None, list(fault.faults)
    if samples.image_dn.ndim != _PLANE:
        reason = "is a colour image; expected one channel, for each colour is a camera of its own"
        return None, [f'{_name(row)} "{row.file.name}" {reason}']
    _, lines, columns = FEWEST
    shape = samples.image_dn.shape
    if shape[0] < lines or shape[1] < columns:
        reason = (
            f"has {shape[0]} lines of {shape[1]} pixels; expected at least {lines} of {columns}"
        )
        return None, [f'{_name(row)} "{row.file.name}" {reason}']
    return samples, []


def _word(samples: Samples, stated: int | None) -> Word:
    own = (1 << samples.bit_depth) - 1
    if stated is None or stated == samples.bit_depth:
        source = samples.depth_from if stated is None else "as stated"
        factor = samples.full_scale_dn // own
        return Word(bit_depth=samples.bit_depth, factor=factor, source=source)
    return Word(bit_depth=stated, factor=1, source="as stated")


def _misfit(samples: Samples, model: Model) -> str:
    """Say why a frame does not go with the others; nothing where it does."""
    word, image = model.word, samples.image_dn
    if image.shape != model.shape:
        return (
            f"has {image.shape[0]} lines of {image.shape[1]} pixels, but other frames have "
            f"{model.shape[0]} of {model.shape[1]}; expected frames of one size"
        )
    if samples.depth_from == _OWN and samples.bit_depth != word.bit_depth:
        return (
            f"holds samples of {samples.bit_depth} bit, but {word.bit_depth} bit are taken for "
            f"all ({word.source}); expected one depth"
        )
    return _overflow(int(image.max()), word) or _uneven(image, word)


def _overflow(highest: int, word: Word) -> str:
    top = word.full_scale_dn * word.factor
    if highest <= top:
        return ""
    return (
        f"holds the sample {highest} DN, but {word.bit_depth} bit end at {top} DN; expected the "
        "depth that the camera delivered (--bit-depth)"
    )


def _uneven(image: NDArray[np.uint16], word: Word) -> str:
    if word.factor == 1 or not (image % word.factor).any():
        return ""
    return (
        f"holds samples that are no multiples of {word.factor}, as those of other frames are; "
        "expected frames stored alike"
    )


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


@dataclass(frozen=True, slots=True, kw_only=True)
class LightKnown:
    """What turns an irradiance into photons."""

    wavelength_nm: float | None
    pixel_width_um: float | None
    pixel_height_um: float | None = None

    @property
    def area_um2(self) -> float:
        """Of a pixel. [µm²]."""
        width_um = self.pixel_width_um or 0.0
        return width_um * (self.pixel_height_um or width_um)


def photons_of(group: Group, light: Light | None, known: LightKnown) -> float:
    """
    Count the photons on a pixel in one frame, μ_p = A E t λ/(hc).

    References
    ----------
    EMVA 1288 R4.0 RC (March 2021), (3), (4).
    """
    if light is None:
        return group.exposure_us
    given = group.light or 0.0
    if light == "photons":
        return given
    missing = {"--wavelength": known.wavelength_nm, "--pixel": known.pixel_width_um}
    examples = {"--wavelength": '"530 nm"', "--pixel": '"7.5 um"'}
    faults = [
        f"{option}: nothing was read, but an irradiance needs it to become photons; expected for "
        f"example {option} {examples[option]}"
        for option, value in missing.items()
        if value is None
    ]
    if faults:
        raise InputError(*faults)
    per_joule = PHOTONS_PER_J_NM * (known.wavelength_nm or 0.0)
    return float(electrons(given, known.area_um2, group.exposure_us, per_joule))
