"""What a restored scan leaves on disk, each file whole or not there at all."""

from pathlib import Path

from linesim.files.atomic import write_json, write_text
from linesim.files.images_out import write_tiff
from linesim.setup.errors import refuse
from linesim.studies.calibrate.outputs import codes_of, white_of
from linesim.studies.calibrate.words import target_lines
from linesim.studies.restore.study import Material
from linesim.studies.restore.words import spoken


def restored_json(found: Material) -> dict[str, object]:
    """Give a restored scan as restored.json has it."""
    return {
        "image": found.name,
        "station": found.setup.title,
        "pixel_size_um": found.pixel_size_um,
        "white_reflectance": white_of(found.data),
        "true_to_x_lp_mm": found.true_to_x_lp_mm,
        "true_to_y_lp_mm": found.true_to_y_lp_mm,
        "limited_by_aliasing": found.folded,
        "finest_object_pixel_um": found.finest_um,
        "noise_of_scan": found.noise_before,
        "noise_left": found.noise_left,
        "said": list(spoken(found)),
        "cautions": [each.as_dict() for each in found.cautions],
    }


def write_restored(found: Material, folder: Path) -> tuple[Path, ...]:
    """Write target, the lines that name it, and the figures."""
    white = white_of(found.data)
    if not min(found.true_to_x_lp_mm, found.true_to_y_lp_mm) > 0:
        refuse(
            f'image "{found.name}": shows nothing over its noise; expected a scan with detail, or '
            "there is nothing to restore"
        )
    paths = tuple(folder / name for name in ("target.tif", "target.toml", "restored.json"))
    write_tiff(paths[0], codes_of(found.data, white))
    write_text(paths[1], target_lines(found.pixel_size_um, white))
    write_json(paths[2], restored_json(found))
    return paths
