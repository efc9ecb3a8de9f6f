"""``linesim measure gap``."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import numpy as np
import typer

from linesim.cli.options import Json, print_json
from linesim.dataset.gap.figures import Figures
from linesim.dataset.gap.gap import gap_text, measure_gap
from linesim.figures.safety import MACHINERY
from linesim.files.folders import all_images


def gap(
    folder: Annotated[Path, typer.Argument(metavar="SET", help="Folder of a data set.")],
    images: Annotated[
        list[Path],
        typer.Argument(metavar="IMAGE...", help="Real images of good product, as delivered."),
    ],
    *,
    json: Json = False,
) -> None:
    """Hold a data set's good images against real ones, and propose ranges."""
    found = measure_gap(folder, all_images(images))
    if not json:
        typer.echo(f"{gap_text(found)}\n\n{MACHINERY}")
        return
    names = ("p05", "p50", "p95")
    print_json(
        {
            "images": dict(zip(("set", "real"), found.counts, strict=True)),
            "set": {k: _finite(v) for k, v in zip(names, found.simulated, strict=True)},
            "real": {k: _finite(v) for k, v in zip(names, found.real, strict=True)},
            "proposals": [asdict(each) for each in found.proposals],
        }
    )


def _finite(figures: Figures) -> dict[str, float]:
    return {name: value for name, value in asdict(figures).items() if np.isfinite(value)}
