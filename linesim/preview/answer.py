"""What the page is told: figures, verdicts and cautions in words, curves, and the samples."""

import json
import struct
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from linesim.figures.budget import Budget
from linesim.forward.station import Station
from linesim.preview.charts import mtf_chart, noise_chart
from linesim.preview.controls import controls
from linesim.preview.frame import Frame
from linesim.report.judged_rows import judged_rows, outcome
from linesim.report.rows import figure_rows
from linesim.report.side_drawing import side_picture
from linesim.report.side_view import side_view_of
from linesim.setup.setup import Setup

_CODES = 65_535
_ALIGNED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A setup and its closed-form figures."""

    setup: Setup
    numbers: Station
    budget: Budget


def words(judged: Judged) -> dict[str, Any]:
    """Put the figures of a setup into words."""
    verdicts = [
        {"label": row.label, "text": row.text, "margin": row.margin, "state": row.state}
        for row in judged_rows(judged.setup, judged.budget)
    ]
    rows = {
        name: [[row.label, row.colour, row.text] for row in group]
        for name, group in figure_rows(judged.setup, judged.budget).items()
    }
    summed = outcome(judged.setup, judged.budget)
    return {
        "outcome": {"state": summed.state, "text": summed.text},
        "figures": judged.budget.as_dict(),
        "rows": rows,
        "judged": verdicts,
        "values": {each.key: each.told(judged.setup)["value"] for each in controls(judged.setup)},
        "target": dict(judged.setup.texts["target"]),
        "noise": noise_chart(judged.numbers),
        "mtf": mtf_chart(judged.numbers),
        "side": _side(judged.setup),
    }


def _side(setup: Setup) -> dict[str, str] | None:
    """Draw the station from the side, where it says where its lamp stands."""
    view = side_view_of(setup)
    if not view.lamps:
        return None
    drawn = side_picture(view)
    return {"image": str(drawn.image), "alt": drawn.alt, "caption": drawn.caption}


def raster(judged: Judged) -> dict[str, Any]:
    """Tell where the samples of a scan lie on the target."""
    place = judged.budget["geometry"]
    across_mm, width = float(place["object_pixel_x_um"]) / 1000, int(place["image_width_px"])
    return {
        "across_mm": across_mm,
        "along_mm": float(place["line_advance_um"]) / 1000,
        "width": width,
        "lines": int(place["image_lines"]),
        "left_mm": -width * across_mm / 2,
    }


def picture(judged: Judged, frame: Frame, seed: int) -> dict[str, Any]:
    """Tell what the samples of a window mean."""
    numbers, part = judged.numbers, frame.part
    floor_e2 = np.asarray(numbers.dark_noise_e) ** 2 + np.asarray(numbers.rounding_e2)
    channels = frame.image.shape[2]
    return {
        "first_line": part.first_line,
        "first_column": part.first_column,
        "lines": part.lines,
        "columns": part.columns,
        "step": part.step,
        "channels": channels,
        "black_dn": judged.setup.camera.black_level_dn,
        "full_scale_dn": judged.setup.full_scale_dn,
        "floor_e2": np.broadcast_to(floor_e2, channels).tolist(),
        "shown": _shown(frame, seed),
    }


def _shown(frame: Frame, seed: int) -> str:
    """Say what the picture is, in one sentence."""
    if frame.as_scanned:
        return f"Every sample, each the very number that a scan with seed {seed} delivers."
    if frame.part.step == 1:
        return "Every sample; the noise is another draw than that of the scan."
    return (
        f"One sample in {frame.part.step} each way, not averaged: each has the noise of a sample, "
        "as another draw than that of the scan. Zoom in to see every sample."
    )


def packed(header: Mapping[str, Any], frame: Frame | None, kept: Hashable) -> bytes:
    """
    Pack an answer for the wire: a header in JSON, the samples, and the electrons expected.

    Electrons go as 65535 √(e / largest): a step is far below the shot noise everywhere.
    """
    told, parts = dict(header), []
    if frame is not None:
        parts.append(np.ascontiguousarray(frame.image, dtype="<u2").tobytes())
        told["electrons"] = kept != header.get("optical")
        if told["electrons"]:
            largest_e = max(float(frame.expected_e.max()), 1e-6)
            share = np.maximum(frame.expected_e, 0) * np.float32(1 / largest_e)
            codes = np.sqrt(share, out=share)
            codes *= np.float32(_CODES)
            np.rint(codes, out=codes)
            parts.append(np.minimum(codes, _CODES).astype("<u2").tobytes())
            told["largest_e"] = largest_e
    text = json.dumps(told, allow_nan=False, separators=(",", ":"), ensure_ascii=False).encode()
    text += b" " * (-(len(text) + 4) % _ALIGNED)
    return b"".join([struct.pack("<I", len(text)), text, *parts])
