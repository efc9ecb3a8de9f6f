"""What measuring a camera leaves on disk, each file whole or not there at all."""

from importlib.util import find_spec
from pathlib import Path

from linesim.files.atomic import write_bytes, write_json, write_text
from linesim.studies.measure.camera.camera_toml import camera_toml
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.camera.plots import camera_page


def write_camera(found: MeasuredCamera, folder: Path) -> tuple[Path, ...]:
    """Write the section for a setup file, all figures, and the page of plots."""
    toml, figures, page = (folder / f"camera.{kind}" for kind in ("toml", "json", "png"))
    write_text(toml, camera_toml(found))
    write_json(figures, found.as_dict())
    if find_spec("matplotlib") is None:
        return toml, figures
    write_bytes(page, camera_page(found))
    return toml, figures, page
