"""A space of 48 options around a small station, of which each demand fails some."""

from pathlib import Path
from typing import Any

from linesim.studies.rank.space import Space, space_from
from tests.stations import plain_toml

CAMERA = {"pixels": 64, "prnu": 0.005, "dsnu": "4 e", "max_line_rate": "18 kHz", "link": "2 MB/s"}
SPACE: dict[str, Any] = {
    "options": {
        "acquisition.binning": ["1x1", "2x2"],
        "lens": {"f_number": [2.8, 5.6], "magnification": [0.1, 0.12]},
        "light.illuminance": "4 klx:60 klx:log3",
        "transport.speed": ["90 m/min"],
        "exposure_share": [0.4, 1],
    },
    "requirement": {"snr": 40, "smallest_defect": "220 um", "defect_contrast": 0.15},
}


def small_space(folder: Path, texts: dict[str, Any], **light: float) -> Space:
    """Read a space around the small station, which lies beside it, with its light changed."""
    sides = {"width": "2 mm", "height": "2 mm"}
    base = plain_toml("Base", target=sides, lens={"blur": "2 um"}, light=light, camera=CAMERA)
    (folder / "base.toml").write_text(base, "utf-8")
    return space_from({"setup": "base.toml", **texts}, folder)
