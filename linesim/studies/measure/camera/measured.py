"""A measured camera: what its frames show, and its figures group by group."""

from dataclasses import dataclass

from linesim.figures.cautions import Caution
from linesim.files.manifest_rows import Light
from linesim.metrics.camera.figures import Transfer
from linesim.metrics.camera.fixed_pattern import PatternParts
from linesim.metrics.camera.linearity import Linearity
from linesim.metrics.camera.series import Series
from linesim.metrics.interval import SIDE_SD, Interval
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.camera.frames import CameraFrames, LightKnown, Seen

Group = dict[str, object]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredCamera:
    """A camera by EMVA 1288, as its frames show it."""

    name: str  # of the table of frames
    light: Light | None  # how its steps are told; None where only exposure times are known
    known: LightKnown  # wavelength and pixel, where they are known
    # what each group shows, steps of light from dim to bright and then the dark
    frames: CameraFrames
    series: Series  # means and variances
    top_dn: int  # largest value that the camera gives [DN]
    transfer: Transfer  # gain, dark noise, threshold, saturation and what follows from them
    linearity: Linearity | None  # None with too few steps
    dsnu_e: PatternParts  # fixed pattern in the dark [e], and in the light as shares of the signal
    prnu: PatternParts
    half: int  # step of light nearest to half of saturation, where PRNU is read
    # shape (columns,); each column's own: dark level less the mean [e], signal less the mean as a
    # share of it
    dsnu_column_e: FloatArray
    prnu_column: FloatArray
    cautions: tuple[Caution, ...] = ()  # what to mind

    @property
    def steps(self) -> tuple[Seen, ...]:
        """The groups of light, from dim to bright."""
        return self.frames.seen[: self.series.light.size]

    @property
    def darks(self) -> tuple[Seen, ...]:
        """The groups in the dark, from short to long."""
        return self.frames.seen[self.series.light.size :]

    def as_dict(self) -> dict[str, object]:
        """Give all figures as camera.json has them."""
        groups = {
            "transfer": _transfer(self),
            "dark": _dark(self),
            "range": _range(self),
            "linearity": _linearity(self),
            "pattern": _pattern(self),
        }
        return {
            "manifest": self.name,
            "frames": _frames(self),
            **{name: _values(group) for name, group in groups.items()},
            "intervals": {name: _ends(group) for name, group in groups.items()},
            "steps": _steps(self),
            "cautions": [caution.as_dict() for caution in self.cautions],
        }

    @property
    def dark_current_e_s(self) -> Interval | None:
        """From the mean; from the variance where a camera takes its mean dark signal off. [e/s]."""
        figures = self.transfer.figures
        if "dark_current_gap_e_s" not in figures:
            return None
        source = "mean" if self.dark_currents_agree else "variance"
        return figures[f"dark_current_{source}_e_s"]

    @property
    def dark_currents_agree(self) -> bool:
        """Whether mean and variance in the dark grow alike, within four standard errors."""
        gap = self.transfer.figures["dark_current_gap_e_s"]
        return abs(gap.value) <= 4 * (gap.high - gap.value) / SIDE_SD


def _values(group: Group) -> Group:
    return {
        name: each.value if isinstance(each, Interval) else each for name, each in group.items()
    }


def _ends(group: Group) -> Group:
    return {
        name: [each.low, each.high] for name, each in group.items() if isinstance(each, Interval)
    }


def _frames(found: MeasuredCamera) -> Group:
    known, (lines, columns) = found.known, found.frames.shape
    named: Group = {
        "count": sum(len(seen.group.rows) for seen in found.frames.seen),
        "light_steps": len(found.steps),
        "dark_exposures": len(found.darks),
        "image_lines": lines,
        "image_width_px": columns,
        "bit_depth": found.frames.word.bit_depth,
        "full_scale_dn": found.frames.word.full_scale_dn,
        "top_dn": found.top_dn,
    }
    optional = {
        "wavelength_nm": known.wavelength_nm,
        "pixel_width_um": known.pixel_width_um,
        "pixel_height_um": known.pixel_height_um or known.pixel_width_um,
    }
    return named | {name: value for name, value in optional.items() if value is not None}


def _some(figures: dict[str, Interval], names: dict[str, str]) -> Group:
    return {name: figures[source] for name, source in names.items() if source in figures}


def _transfer(found: MeasuredCamera) -> Group:
    names = {"gain_dn_e": "gain_dn_e", "gain_free_offset_dn_e": "gain_free_offset_dn_e"}
    if found.light is not None:
        names |= {"responsivity_dn_photon": "responsivity_dn", "quantum_efficiency": "efficiency"}
    return _some(found.transfer.figures, names) | {"fitted_steps": found.transfer.fitted}


def _dark(found: MeasuredCamera) -> Group:
    names = ("dark_noise_e", "dark_noise_dn", "read_noise_e", "black_level_dn",
             "dark_current_mean_e_s", "dark_current_variance_e_s")  # fmt: skip
    named = _some(found.transfer.figures, {name: name for name in names})
    named["dark_noise_is_limit"] = found.transfer.dark_noise_is_limit
    current = found.dark_current_e_s
    if current is not None:
        named["dark_current_e_s"] = current
        named["dark_currents_agree"] = found.dark_currents_agree
    return named


def _range(found: MeasuredCamera) -> Group:
    names = {name: name for name in (
        "saturation_e", "saturation_dn", "snr_max", "snr_max_db", "threshold_e",
        "threshold_release_3_e", "dynamic_range", "dynamic_range_db")}  # fmt: skip
    named = _some(found.transfer.figures, names)
    where, light = found.transfer.saturation, found.series.light
    per_light = found.transfer.figures["efficiency"].value
    named["saturation_rule"] = where.rule
    for rule, step in (("share", where.by_share), ("variance", where.by_variance)):
        if step is not None:
            named[f"saturation_by_{rule}_e"] = per_light * float(light[step])
    if found.light is not None:
        named["saturation_photons"] = float(light[where.step])
        named["threshold_photons"] = found.transfer.figures["threshold_light"]
    return named


def _linearity(found: MeasuredCamera) -> Group:
    if found.linearity is None:
        return {}
    return {
        "linearity_error": found.linearity.linearity_error,
        "lowest_deviation": found.linearity.lowest_deviation,
        "highest_deviation": found.linearity.highest_deviation,
        "fitted_steps": int(found.linearity.steps.size),
    }


def _pattern(found: MeasuredCamera) -> Group:
    named = {**_parts("dsnu", found.dsnu_e, "_e"), **_parts("prnu", found.prnu, "")}
    half_dn = float(found.series.signal_dn[found.half])
    return named | {"prnu_signal_dn": half_dn}


def _parts(name: str, parts: PatternParts, unit: str) -> Group:
    each = {"": parts.total, "_column": parts.column, "_row": parts.row, "_pixel": parts.pixel}
    return {f"{name}{part}{unit}": value for part, value in each.items()}


def _steps(found: MeasuredCamera) -> list[Group]:
    """Give the series itself, so that anybody can evaluate it by another edition."""
    series, rows = found.series, []
    for place, seen in enumerate(found.frames.seen):
        row: Group = {
            "kind": seen.group.kind,
            "frames": len(seen.group.rows),
            "exposure_us": seen.group.exposure_us,
            "mean_dn": seen.figures.mean_dn.value,
            "temporal_dn2": seen.figures.temporal_dn2.value,
            "spatial_dn2": seen.figures.spatial_dn2.total.value,
        }
        if seen.group.kind == "flat":
            row["signal_dn"] = float(series.signal_dn[place])
            row["share_at_top"] = seen.share_highest if seen.highest_dn == found.top_dn else 0.0
        if seen.group.kind == "flat" and found.light is not None:
            row["photons"] = float(series.light[place])
        rows.append(row)
    return rows
