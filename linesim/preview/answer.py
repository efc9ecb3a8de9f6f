"""What the page is told: figures, verdicts and cautions in words, curves, and the samples."""

import json
import struct
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from linesim.figures.budget import Budget
from linesim.forward.station import Station
from linesim.preview.averaged import codes_per_dn
from linesim.preview.charts import light_chart, mtf_chart, noise_chart, snr_curve
from linesim.preview.controls import controls
from linesim.preview.frame import Frame
from linesim.preview.headline import found_um, headline, judged_words
from linesim.preview.put_in import can_be_put_in
from linesim.report.rows import figure_rows
from linesim.report.side_drawing import side_picture
from linesim.report.side_view import side_view_of
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.targets.load import TargetSize

_CODES = 65_535
_ALIGNED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A setup and its closed-form figures."""

    setup: Setup
    numbers: Station
    budget: Budget


def quick_words(judged: Judged) -> dict[str, Any]:
    """Tell what comes of a setup, while something moves."""
    return {
        "outcome": headline(judged.setup, judged.budget),
        "values": {each.key: each.value(judged.setup) for each in controls(judged.setup)},
        "target": dict(judged.setup.texts["target"]),
        "defects": defects(judged.setup, judged.budget),
    }


def words(judged: Judged) -> dict[str, Any]:
    """Put the figures of a setup into words."""
    rows = {
        name: [[row.label, row.colour, row.text] for row in group]
        for name, group in figure_rows(judged.setup, judged.budget).items()
    }
    return quick_words(judged) | {
        "judged": judged_words(judged.setup, judged.budget),
        "figures": judged.budget.as_dict(),
        "rows": rows,
        "light": light_chart(judged.setup, judged.budget["signal"]),
        "noise": noise_chart(judged.numbers),
        "mtf": mtf_chart(judged.setup, judged.numbers),
        "side": _side(judged.setup),
    }


def defects(setup: Setup, found: Budget) -> dict[str, Any]:
    """Give the sides of the defect that must be found, and of the smallest that is, to draw it."""
    need, asked_um = setup.requirement, setup.defect_sides_um
    return {
        "shape": need.defect_shape if need.defect_relief is None else need.defect_relief.kind,
        "asked_um": None if asked_um is None else list(asked_um),
        "found_um": found_um(found),
        "can_be_put_in": can_be_put_in(setup),
    }


def _side(setup: Setup) -> dict[str, str] | None:
    """Draw the station from the side, where it says where its lamp or its lens stands."""
    view = side_view_of(setup)
    if not view.lamps and view.working_distance_mm is None:
        return None
    drawn = side_picture(view)
    return {"image": str(drawn.image), "alt": drawn.alt, "caption": drawn.caption}


def raster(judged: Judged, size: TargetSize, pitch_um: float) -> dict[str, Any]:
    """Tell where the samples of a scan lie on the target, and where that ends."""
    place = judged.budget["geometry"]
    across_mm, width = float(place["object_pixel_x_um"]) / 1000, int(place["image_width_px"])
    # it lies about the optical axis, its first row where line 0 looks
    sides_mm = [pitch_um / 1000 * count for count in (size.columns, size.rows)]
    return {
        "across_mm": across_mm,
        "along_mm": float(place["line_advance_um"]) / 1000,
        "width": width,
        "lines": int(place["image_lines"]),
        "left_mm": -width * across_mm / 2,
        "target_mm": None if judged.setup.target.repeat else sides_mm,
    }


def picture(judged: Judged, frame: Frame, seed: int, put_in: int = 0) -> dict[str, Any]:
    """Tell what the samples of a window mean."""
    numbers, part = judged.numbers, frame.part
    return {
        "first_line": part.first_line,
        "first_column": part.first_column,
        "lines": frame.image.shape[0],
        "columns": frame.image.shape[1],
        "step": part.step * part.join,
        "codes_per_dn": codes_per_dn(judged.setup.camera.bit_depth, part.join),
        "channels": frame.image.shape[2],
        "black_dn": judged.setup.camera.black_level_dn,
        "full_scale_dn": judged.setup.full_scale_dn,
        # what white comes to where nothing clips it; of colours the largest
        "white_dn": _dn(judged, np.asarray(numbers.electrons_white)),
        "clips_dn": _dn(judged, np.asarray(numbers.saturation_e)),
        "snr": snr_curve(numbers, float(frame.expected_e.max())),
        "wanted_snr": judged.setup.requirement.snr,
        "shown": _shown(frame, seed) + (f", with {put_in} defects put in" if put_in else ""),
    }


def _dn(judged: Judged, level_e: FloatArray) -> float:
    setup = judged.setup
    return setup.camera.black_level_dn + setup.gain_dn_e * float(np.max(level_e))


def _shown(frame: Frame, seed: int) -> str:
    """Say what the samples are, in one sentence without its full stop."""
    step, join, whose = frame.part.step, frame.part.join, f"linesim scan (seed {seed})"
    if step > 1:
        return f"One sample in {step} each way, of the target averaged to half that distance"
    if join > 1:
        drawn = whose if frame.as_scanned else "this window"
        return f"All samples of {drawn}, each {join} x {join} averaged to one"
    return f"Same samples as {whose}" if frame.as_scanned else "Every sample; another draw of noise"


def packed(header: Mapping[str, Any], frame: Frame | None, kept: Hashable) -> bytes:
    """
    Pack an answer for the wire: a header in JSON, the samples, and the electrons expected.

    Electrons go as 65535 √(e / largest): a step is far below the shot noise everywhere.
    """
    fields, parts = dict(header), []
    if frame is not None:
        parts.append(np.ascontiguousarray(frame.image, dtype="<u2").tobytes())
        fields["electrons"] = kept != header.get("optical")
        if fields["electrons"]:
            largest_e = max(float(frame.expected_e.max()), 1e-6)
            share = np.maximum(frame.expected_e, 0) * np.float32(1 / largest_e)
            codes = np.sqrt(share, out=share)
            codes *= np.float32(_CODES)
            np.rint(codes, out=codes)
            parts.append(np.minimum(codes, _CODES).astype("<u2").tobytes())
            fields["largest_e"] = largest_e
    text = json.dumps(fields, allow_nan=False, separators=(",", ":"), ensure_ascii=False).encode()
    text += b" " * (-(len(text) + 4) % _ALIGNED)
    return b"".join([struct.pack("<I", len(text)), text, *parts])
