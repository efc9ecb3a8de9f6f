"""Figures from images of anything, simulated or captured."""

from collections.abc import Iterator, Mapping

import numpy as np

from linesim.figures.cautions import Caution
from linesim.forward.conversion import ROUNDING_DN
from linesim.forward.kept import CLIPPED_SHARE
from linesim.metrics.region import Region
from linesim.metrics.scene.block_noise import FEWEST_SIDE
from linesim.metrics.scene.figures import PERCENTILES, Scene, scene
from linesim.studies.measure.areas import (
    Area,
    Image,
    MeasuredChannels,
    areas_of,
    black_caution,
    black_source,
    check_size,
    each_channel,
    file_cautions,
    of_channel,
)

# Our choices: from here on the smoothest blocks hold more texture than their noise figure forgives.
_WHITENESS = 1.2
_TEXTURED_SHARE = 0.3
# EMVA 1288 R4.0 RC (March 2021), C.4.
# The budget's own threshold for a dark picture (common practice, no source).
_DARK_SHARE = 0.1


class MeasuredScene(MeasuredChannels[Scene]):
    """What an image of anything tells."""

    __slots__ = ()

    def figures(self, found: Scene) -> dict[str, object]:
        """Name all figures of one channel; one without a value is absent."""
        noise, detail, levels = found.noise, found.detail, found.levels
        figures: dict[str, object] = {
            "noise_at_most_dn": found.noise_median_dn,
            "noise_curve": [
                {"level_dn": level, "noise_dn": dn, "standard_error_dn": sd}
                for level, dn, sd in zip(
                    noise.level_dn, noise.noise_dn, noise.noise_sd_dn, strict=True
                )
            ],
            "whiteness": noise.whiteness,
            "textured_share": noise.textured_share,
            "snr_at_least": {
                f"p{share}": float(np.percentile(found.snr_map, share)) for share in (10, 50, 90)
            },
            "detail_x_cyc_px": detail.detail_x_cyc_px,
            "detail_y_cyc_px": detail.detail_y_cyc_px,
            "share_at_zero": levels.share_at_zero,
            "share_at_full_scale": levels.share_at_full_scale,
            "percentiles_dn": dict(
                zip((f"p{each:g}" for each in PERCENTILES), levels.percentiles_dn, strict=True)
            ),
            "range_used": levels.range_used,
        }
        if detail.ratio is not None:
            figures["sharpness_along_across"] = detail.ratio.value
            figures["sharpness_standard_error"] = detail.ratio.sd
        if detail.blur_px is not None:
            figures["motion_blur_px"] = detail.blur_px.value
            figures["motion_blur_standard_error_px"] = detail.blur_px.sd
        return figures


def measure_scene(
    image: Image,
    *,
    region: Region | None = None,
    black_dn: float | None = None,
    bit_depth: int | None = None,
    max_pixels: int | None = None,
) -> MeasuredScene:
    """
    Read off an image what can be read without knowing what it shows.

    Parameters
    ----------
    image : path, str or ndarray; any target in motion, samples as delivered
    region : Region, optional; left out: the whole image
    black_dn : float, optional; level without light; left out: 0, with a caution [DN]
    bit_depth : int, optional
        Bits of a sample; left out: as the file says, or the smallest usual depth that holds it.

    Raises
    ------
    InputError; the image cannot be read, is below 66 samples each way, or clipped all over
    """
    (area,) = areas_of([image], region=region, bit_depth=bit_depth, max_pixels=max_pixels)
    check_size(area, FEWEST_SIDE, FEWEST_SIDE)
    black = float(black_dn or 0.0)
    channels = each_channel(
        area,
        lambda samples: scene(samples, black, area.full_scale_dn),
        "",
        "an image that is not clipped all over",
    )
    return MeasuredScene(
        area=area,
        black_dn=black,
        black_from=black_source(black_dn),
        channels=channels,
        cautions=tuple(_cautions(area, channels, black_dn)),
    )


def _cautions(
    area: Area, channels: Mapping[str, Scene], black_dn: float | None
) -> Iterator[Caution]:
    yield from file_cautions(area.cautions)
    yield from black_caution(black_dn)
    for name, found in channels.items():
        said = (*_of_noise(found), *_of_levels(found, area.full_scale_dn))
        yield from of_channel(name, said)


def _of_noise(found: Scene) -> Iterator[tuple[str, str]]:
    noise = found.noise
    if noise.whiteness > _WHITENESS or noise.textured_share > _TEXTURED_SHARE:
        text = (
            "Even the smoothest blocks hold fine texture "
            f"(whiteness {noise.whiteness:.2f}, where noise has 1; {noise.textured_share:.0%} "
            "of the blocks vary more than their noise): the noise may be far lower and the SNR "
            "far higher than told. Measure noise on an even target."
        )
        yield "texture", text
    if found.noise_median_dn < ROUNDING_DN:
        text = (
            f"The noise, {found.noise_median_dn:.2g} DN, is below 0.4 DN, where rounding hides "
            "part of it (EMVA 1288)."
        )
        yield "quantisation", text
    if found.detail.ratio is None:
        text = (
            "Between 0.2 and 0.4 cycles/px detail has less power than noise, or the image is "
            "small: sharpness along and across cannot be compared."
        )
        yield "no_detail", text


def _of_levels(found: Scene, full_scale_dn: int) -> Iterator[tuple[str, str]]:
    levels = found.levels
    for share, end in (
        (levels.share_at_zero, "0 DN"),
        (levels.share_at_full_scale, f"full scale, {full_scale_dn} DN"),
    ):
        if share > CLIPPED_SHARE:
            text = (
                f"{share:.2%} of the samples lie at {end}: what is beyond is lost. Blocks with "
                "such samples tell nothing about noise and were left out."
            )
            yield "clipped", text
    brightest_dn = levels.percentiles_dn[-1]
    if brightest_dn < _DARK_SHARE * full_scale_dn:
        text = (
            f"The brightest samples lie at {brightest_dn / full_scale_dn:.1%} of full scale, "
            "if the bit depth is right: most of the scale is not used."
        )
        yield "dark", text
