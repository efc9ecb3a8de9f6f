"""How even the line of an image is, simulated or captured."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial

from linesim.figures.cautions import Caution
from linesim.metrics.flat.noise import FEWEST_LINES
from linesim.metrics.flat.uniformity import FEWEST_COLUMNS, Uniformity, uniformity
from linesim.metrics.region import Region
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
    refuse_clipped,
)
from linesim.studies.measure.flat.cautions import flat_cautions

BY_CHANCE = 0.001
"""A wave in the lines that chance shows less often counts as banding; our choice."""
# Brightest to darkest above which practice advises against correcting (common practice, no source).
_STEEP_GAIN = 3.0
_OTHERS = {"shading", "no_signal"}


class MeasuredUniformity(MeasuredChannels[Uniformity]):
    """How even a line is."""

    __slots__ = ()

    def figures(self, found: Uniformity) -> dict[str, object]:
        """Name all figures of one channel; columns count from the image's own first."""
        first, profile, bands = self.area.region.x, found.profile, found.banding
        signal_dn = found.whole.signal_dn.value
        figures: dict[str, object] = {
            "mean_dn": found.whole.lit.mean_dn.value,
            "signal_dn": signal_dn,
            "falloff_left": profile.falloff_left.value,
            "falloff_right": profile.falloff_right.value,
            "falloff_standard_error": profile.falloff_left.sd,
            "brightest_px": first + profile.brightest,
            "peak_to_peak": profile.peak_to_peak,
            "relative_sd": profile.relative_sd,
            "gain": profile.gain,
            "gain_columns": profile.gain_columns,
            "streaks_dn": found.streaks.variance_dn2.root().value,
            "streaks_share": found.streaks.variance_dn2.root().value / signal_dn,
            "streaks_standard_error_dn": found.streaks.variance_dn2.root().sd,
            "streak_limit": found.streaks.limit,
            "streaks_beyond_limit": found.streaks.count,
            "worst_columns": [
                {"column_px": first + each.column, "excess_dn": each.excess_dn,
                 "strength": each.strength}
                for each in found.streaks.worst
            ],
            "banding_cyc_line": bands.frequency_cyc_line,
            "banding_dn": bands.amplitude_dn.value,
            "banding_share": bands.amplitude_dn.value / signal_dn,
            "banding_standard_error_dn": bands.amplitude_dn.sd,
            "banding_chance": bands.chance,
        }  # fmt: skip
        if found.waves.chance < BY_CHANCE:
            figures |= {
                "column_wave_px": 1 / found.waves.frequency_cyc_line,
                "column_wave_dn": found.waves.amplitude_dn.value,
                "column_wave_share": found.waves.amplitude_dn.value / signal_dn,
                "column_wave_standard_error_dn": found.waves.amplitude_dn.sd,
            }
        ratios = zip(("left", "middle", "right"), found.parts, strict=True)
        return figures | {f"snr_{name}": each.snr.value for name, each in ratios if each.snr}


def measure_uniformity(
    image: Image,
    *,
    region: Region | None = None,
    black_dn: float | None = None,
    bit_depth: int | None = None,
    max_pixels: int | None = None,
) -> MeasuredUniformity:
    """
    Read fall-off, streaks, bands and SNR along the line off an image of an even target.

    Parameters
    ----------
    image : path, str or ndarray; an even target in motion, samples as delivered
    region : Region, optional; left out: the whole image
    black_dn : float, optional; level without light; left out: 0, with a caution [DN]
    bit_depth : int, optional
        Bits of a sample; left out: as the file says, or the smallest usual depth that holds it.

    Raises
    ------
    InputError; the image cannot be read, is clipped, too small, or does not lie above black
    """
    (area,) = areas_of([image], region=region, bit_depth=bit_depth, max_pixels=max_pixels)
    check_size(area, FEWEST_LINES, FEWEST_COLUMNS)
    refuse_clipped(area)
    black = float(black_dn or 0.0)
    channels = each_channel(
        area, partial(uniformity, black_dn=black), f", black {black:g} DN", "an even, lit target"
    )
    return MeasuredUniformity(
        area=area,
        black_dn=black,
        black_from=black_source(black_dn),
        channels=channels,
        cautions=tuple(_cautions(area, channels, black_dn)),
    )


def _cautions(
    area: Area, channels: Mapping[str, Uniformity], black_dn: float | None
) -> Iterator[Caution]:
    yield from file_cautions(area.cautions)
    yield from black_caution(black_dn)
    for name, found in channels.items():
        said = flat_cautions(found.whole, name, area.image_dn.shape[0])
        yield from (_with_target(each) for each in said if each.code not in _OTHERS)
        if found.profile.gain > _STEEP_GAIN:
            yield Caution(
                "flat_field_gain",
                f"The brightest part of the line is {found.profile.gain:.2g} times the darkest "
                f"({name}), over 3: a flat-field correction makes the levels equal, but lifts "
                "the noise of the dark part as much. Spread the light more evenly first.",
            )


def _with_target(caution: Caution) -> Caution:
    """Add to texture what it does here."""
    if caution.code != "texture":
        return caution
    return replace(caution, text=f"{caution.text} Streaks and bands may be the target's own.")
