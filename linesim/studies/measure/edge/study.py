"""The slanted edge of an image, simulated or captured: figures and how well they are known."""

from dataclasses import dataclass
from typing import Any

from linesim.figures.cautions import Caution
from linesim.metrics.edge.bootstrap import EdgeUncertainty, edge_uncertainty
from linesim.metrics.edge.figures import EdgeResponse
from linesim.metrics.edge.find import EdgeSearch, find_edge
from linesim.metrics.region import Region
from linesim.setup.arguments import checked_seed, refuse_other
from linesim.studies.measure.areas import Image
from linesim.studies.measure.sharpness_input import Plane, direction_of, read_plane

_FIGURES = ("mtf50_cyc_px", "mtf10_cyc_px", "mtf_nyquist", "rise_10_90_px")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredEdge:
    """What an edge tells about an image."""

    response: EdgeResponse
    sd: EdgeUncertainty
    region: Region
    places: tuple[int, ...]
    pixel_pitch_um: tuple[float, float] | None
    plane: Plane

    @property
    def pitch_um(self) -> float | None:
        """Pitch of the frequencies, on the target. [µm]."""
        if self.pixel_pitch_um is None:
            return None
        return self.pixel_pitch_um[0 if self.response.direction == "across" else 1]

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What looks odd about the file."""
        return self.plane.cautions

    def as_dict(self) -> dict[str, object]:
        """Give all figures as JSON has them; what there is not is left out."""
        seen = self.response
        found: dict[str, Any] = {
            "angle_deg": seen.angle_deg,
            **{name: getattr(seen, name) for name in _FIGURES},
            "overshoot": seen.overshoot,
            "frequency_cyc_px": seen.frequency_cyc_px.tolist(),
            "mtf": seen.mtf.tolist(),
            **{f"{name}_sd": getattr(self.sd, name) for name in _FIGURES},
            "mtf_sd": self.sd.mtf.tolist(),
            **self._on_target(),
            "frequencies_along": f"the edge's normal; a pixel is the pitch {seen.direction}",
            "direction": seen.direction,
            **self.plane.described(),
            "region": self.region.as_dict(),
            "region_found": bool(self.places),
            "edge_length_px": seen.edge_length_px,
            "step": seen.step,
            "noise": seen.noise,
            "blocks": self.sd.blocks,
            "resamplings": self.sd.resamplings,
            "cautions": [each.as_dict() for each in self.cautions],
        }
        return {name: value for name, value in found.items() if value is not None}

    def _on_target(self) -> dict[str, Any]:
        """Frequencies in line pairs per millimetre on the target."""
        if self.pixel_pitch_um is None or self.pitch_um is None:
            return {}
        per_mm = 1000.0 / self.pitch_um
        found: dict[str, Any] = {"pixel_pitch_um": list(self.pixel_pitch_um)}
        for name in ("mtf50", "mtf10"):
            for owner, end in ((self.response, ""), (self.sd, "_sd")):
                value = getattr(owner, f"{name}_cyc_px")
                found[f"{name}_lp_mm{end}"] = None if value is None else value * per_mm
        found["nyquist_lp_mm"] = 0.5 * per_mm
        return found


def measure_edge(  # noqa: PLR0913 -- one measurement, its options by keyword
    image: Image,
    *,
    region: Region | tuple[int, int, int, int] | None = None,
    direction: str | None = None,
    channel: str | None = None,
    bit_depth: int | None = None,
    max_pixels: int | None = None,
    encoding: str = "linear",
    pixel_pitch_um: tuple[float, float] | None = None,
    seed: int = 0,
) -> MeasuredEdge:
    """
    Measure the slanted edge of an image.

    Parameters
    ----------
    image : path, str or ndarray
        File, or samples of uint8 or uint16, shape (lines, width) or (lines, width, 3).
    region : Region or tuple of int, optional
        First column, first line, columns, lines; left out, the best edge is looked for.
    direction : {"across", "along"}, optional; axis nearest to the edge's normal; left out: found
    channel : {"red", "green", "blue"}, optional; of a colour image; left out, green
    bit_depth : int, optional
        Bits of a sample, for the level at which samples clip; left out: found.
    pixel_pitch_um : tuple of float, optional
        Pitch of the samples on the target, across and along. [µm]
    seed : int; of the draws for the standard deviations

    Raises
    ------
    InputError; where the image cannot be read, or holds no edge that can be measured
    """
    seed = checked_seed(seed)
    plane = read_plane(
        image, channel=channel, bit_depth=bit_depth, max_pixels=max_pixels, encoding=encoding
    )
    search = EdgeSearch(
        image=plane.values,
        direction=direction_of(direction),
        pixel_pitch=(1.0, 1.0) if pixel_pitch_um is None else pixel_pitch_um[::-1],
        limits=plane.limits,
    )
    where, response, places = _located(search, region)
    return MeasuredEdge(
        response=response,
        sd=edge_uncertainty(where.cut(plane.values), response, seed=seed),
        region=where,
        places=places,
        pixel_pitch_um=pixel_pitch_um,
        plane=plane,
    )


def _located(
    search: EdgeSearch, region: Region | tuple[int, int, int, int] | None
) -> tuple[Region, EdgeResponse, tuple[int, ...]]:
    """Measure at the region given, or find one."""
    if region is None:
        found = find_edge(search)
        return found.region, found.response, (found.tried, found.usable)
    if isinstance(region, Region):
        return region, search.at(region), ()
    refuse_other(region, (list, tuple), "region", "first column, first line, columns, lines")
    sides = ",".join(map(str, region))
    given = Region.read(sides, "region")
    return given, search.at(given), ()
