"""A camera measured from frames of even light and of the dark: photon transfer by EMVA 1288."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from linesim.files.manifest import read_manifest
from linesim.files.manifest_rows import Group, Manifest
from linesim.metrics.camera.figures import transfer
from linesim.metrics.camera.fixed_pattern import dsnu, prnu
from linesim.metrics.camera.linearity import linearity
from linesim.metrics.camera.saturation import saturation
from linesim.metrics.camera.series import Series, moments_of
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.interval import SIDE_SD
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.studies.measure.camera.cautions import camera_cautions
from linesim.studies.measure.camera.frames import (
    CameraFrames,
    LightKnown,
    Progress,
    Seen,
    photons_of,
    read_frames,
)
from linesim.studies.measure.camera.measured import MeasuredCamera

_PILED_UP = 0.01
"""Share of samples at one value that tells a scale's end short of the word's; our choice."""
_FALLS = 0.05
"""Share of the signal by which a brighter step may read darker; our choice."""
_FALLS_SD = 10.0
"""And so many standard errors of the means; our choice."""


def measure_camera(  # noqa: PLR0913 -- one measurement, its options by keyword
    manifest: str | Path,
    *,
    wavelength_nm: float | None = None,
    pixel_width_um: float | None = None,
    pixel_height_um: float | None = None,
    bit_depth: int | None = None,
    max_pixels: int | None = None,
    progress: Progress | None = None,
) -> MeasuredCamera:
    """
    Evaluate the frames of a camera.

    Parameters
    ----------
    manifest : str or pathlib.Path
        CSV table with the columns file, kind (flat or dark), exposure_us and, where the light is
        known, irradiance_w_m2 (at the sensor) or photons (on a pixel); at least two frames a kind,
        exposure and light, and dark ones at each exposure.
    wavelength_nm : float, optional; of the light; needed with an irradiance [nm]
    pixel_width_um, pixel_height_um : float, optional
        Of a pixel; the width is needed with an irradiance, the height left out is the width. [µm]
    bit_depth : int, optional; bits of a sample; left out: as the files tell
    progress : callable, optional; told how many groups of frames are read, and of how many

    Raises
    ------
    InputError; with one sentence for every fault of the table, or of the frames

    References
    ----------
    EMVA 1288 R4.0 RC (March 2021).
    """
    table = read_manifest(manifest)
    known = LightKnown(
        wavelength_nm=wavelength_nm, pixel_width_um=pixel_width_um, pixel_height_um=pixel_height_um
    )
    flats = sorted(_of_kind(table, "flat"), key=lambda group: photons_of(group, table.light, known))
    darks = sorted(_of_kind(table, "dark"), key=lambda group: group.exposure_us)
    # the brightest first, for it tells the depth
    groups = (*flats[::-1], *darks[::-1])
    read = read_frames(groups, bit_depth=bit_depth, max_pixels=max_pixels, progress=progress)
    count = len(flats)
    ordered = (*read.seen[:count][::-1], *read.seen[count:][::-1])
    frames = replace(read, seen=ordered)
    light = np.array([photons_of(group, table.light, known) for group in flats])
    try:
        found = _evaluated(table, known, frames, light)
    except InputError:
        raise
    except ValueError as fault:
        msg = f'manifest "{manifest}": {fault}; expected evenly lit frames from dim to saturated'
        raise InputError(msg) from None
    return replace(found, cautions=camera_cautions(found))


def _of_kind(table: Manifest, kind: str) -> list[Group]:
    return [group for group in table.groups if group.kind == kind]


def _evaluated(
    table: Manifest, known: LightKnown, frames: CameraFrames, light: FloatArray
) -> MeasuredCamera:
    steps, darks = frames.seen[: light.size], frames.seen[light.size :]
    top_dn = _top_dn(frames)
    series = _series(steps, darks, light, top_dn)
    saturated = saturation(series)
    faults = tuple(_order_faults(series, steps, saturated.step))
    if faults:
        raise InputError(*faults)
    evaluated = transfer(series, saturated)
    full_dn = evaluated.figures["saturation_dn"].value
    half = int(np.abs(series.signal_dn - full_dn / 2).argmin())
    lit, dark, still = steps[half], darks[series.dark_of[half]], darks[series.shortest]
    gain = evaluated.figures["gain_dn_e"]
    sd = (gain.high - gain.value) / SIDE_SD
    column_dn = lit.column_dn - dark.column_dn
    return MeasuredCamera(
        name=table.name,
        light=table.light,
        known=known,
        frames=frames,
        series=series,
        top_dn=top_dn,
        transfer=evaluated,
        linearity=linearity(series, full_dn),
        dsnu_e=dsnu(still.figures, Estimate(value=gain.value, sd=sd)),
        prnu=prnu(lit.figures, dark.figures),
        half=half,
        dsnu_column_e=(still.column_dn - still.column_dn.mean()) / gain.value,
        prnu_column=column_dn / column_dn.mean() - 1,
    )


def _top_dn(frames: CameraFrames) -> int:
    """Find where the scale ends: the word's end, or a lower value at which samples pile up."""
    highest = max(seen.highest_dn for seen in frames.seen)
    piled = max(seen.share_highest for seen in frames.seen if seen.highest_dn == highest)
    return highest if piled >= _PILED_UP else frames.word.full_scale_dn


def _series(
    steps: tuple[Seen, ...], darks: tuple[Seen, ...], light: FloatArray, top_dn: int
) -> Series:
    exposures_us = [seen.group.exposure_us for seen in darks]
    return Series(
        light=light,
        lit=moments_of([seen.figures for seen in steps]),
        dark=moments_of([seen.figures for seen in darks]),
        dark_exposure_us=np.array(exposures_us),
        dark_of=np.array([exposures_us.index(seen.group.exposure_us) for seen in steps]),
        share_at_top=np.array(
            [seen.share_highest if seen.highest_dn == top_dn else 0.0 for seen in steps]
        ),
    )


def _order_faults(series: Series, steps: Sequence[Seen], last: int) -> Iterator[str]:
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
