"""What a design leaves on disk: stations that run, figures, a list to buy from, a picture."""

from pathlib import Path

import numpy as np

from linesim.figures.safety import CODES, Shared, people_lines, shared_cautions
from linesim.files.atomic import write_json, write_text
from linesim.files.csv_out import write_csv
from linesim.files.images_out import write_png
from linesim.setup.arrays import ImageArray
from linesim.setup.load import changed
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.design.purchase import reasons, to_buy
from linesim.studies.design.relax import Relaxed
from linesim.studies.design.study import Design, Proposal
from linesim.studies.design.words import answer, first_limits
from linesim.studies.scan.outputs import preview
from linesim.studies.scan.study import Scan, scan

_SCAN_PX, _SCAN_LINES = 320, 160
_SIZES = (1.0, 1.5, 2.0, 3.0)
"""Of the defects in the picture, over the smallest."""
_PARTS = 4
"""Reference pixels in an object pixel."""


def file_of(one: Proposal) -> str:
    """Name the setup file of a proposal."""
    return f"{one.name.replace(' ', '_')}.toml"


def design_json(found: Design) -> dict[str, object]:
    """Give a design as design.json has it."""
    plain: dict[str, object] = {
        "title": found.job.title,
        "stations": found.tried,
        "passing": found.passing,
        "answer": answer(found),
        "relaxed": [_row(each) for each in found.relaxed],
        "relaxed_together": [_row(each) for each in found.together],
    }
    if found.best is None:
        return {**plain, "cautions": cautions(found)}
    return {
        **plain,
        "best": _record(found, found.best),
        "others": [_record(found, each) for each in found.others],
        "cautions": cautions(found),
    }


def _row(each: Relaxed) -> dict[str, object]:
    return {
        "demand": each.demand.requirement,
        "figure": each.demand.figure,
        "wanted": each.demand.wanted,
        "reached": each.reached,
    }


def people(found: Design) -> tuple[Shared, ...]:
    """Find what is to be minded about people, of all that is proposed."""
    each = [one for one in (found.best, *found.others) if one is not None]
    return shared_cautions((one.name, one.setup) for one in each)


def cautions(found: Design) -> list[str]:
    """Say what is to be minded: of the best station's picture first, then about people."""
    own = () if found.best is None else found.best.budget.cautions
    picture = [f"{each.code}: {each.text}" for each in own if each.code not in CODES]
    return [*picture, *people_lines(people(found))]


def _record(found: Design, one: Proposal) -> dict[str, object]:
    each = one.candidate
    return {
        "name": one.name,
        "setup": file_of(one),
        "cameras": each.cameras,
        "sensor_length_mm": each.sensor_mm,
        "working_distance_mm": one.setup.working_distance_mm,
        "illuminance_lx": one.light_lx,
        "reasons": [list(line) for line in reasons(found.job, one)],
        "list_to_buy": [list(line) for line in to_buy(one)],
        "first_limits": first_limits(one),
        "limits": [verdict.as_dict() for verdict in one.limits],
        **one.budget.as_dict(),
    }


def defect_scan(setup: Setup) -> Scan | None:
    """Scan the smallest defect and larger ones on even product; None for faults with relief."""
    defect_um = setup.smallest_defect_um
    if defect_um is None or setup.requirement.defect_relief is not None:
        return None
    across = setup.acquisition.binning.across
    part = changed(
        setup,
        {
            "camera.pixels": min(setup.camera.pixels, _SCAN_PX * across),
            "lens.field_of_view": None,
            "lens.magnification": setup.magnification,
            "acquisition.lines": _SCAN_LINES,
            "title": f"Defects of {', '.join(f'{size * defect_um:.4g}' for size in _SIZES)} um",
        },
    )
    object_um = across * setup.camera.pixel_width_um / setup.magnification
    part = changed(part, {"target.pixel_size": f"{object_um / _PARTS:.6g} um"})
    return scan(part, reference=_product(part, defect_um, object_um / _PARTS))


def _product(setup: Setup, defect_um: float, pitch_um: float) -> ImageArray:
    """Draw discs of several sizes on product of one level."""
    rows, columns = _PARTS * _SCAN_LINES, _PARTS * _SCAN_PX
    asked = setup.requirement.product_reflectance
    level = float(asked) / setup.target.white_reflectance if isinstance(asked, float) else 1.0
    image = np.full((rows, columns), level, dtype=np.float32)
    dark = level * (1 - setup.requirement.defect_contrast)
    y, x = np.mgrid[0:rows, 0:columns]
    for place, size in enumerate(_SIZES):
        middle = columns * (place + 0.5) / len(_SIZES)
        for row in (0.27, 0.73):
            away = np.hypot(x - middle - 1.3 * place, y - rows * row - 0.7 * place) * pitch_um
            image[away <= size * defect_um / 2] = dark
    return image


def write_design(found: Design, folder: Path) -> tuple[Path, ...]:
    """Write setups, figures, the list to buy from and the picture."""
    paths = [folder / "design.json"]
    write_json(paths[0], design_json(found))
    best = found.best
    if best is None:
        return tuple(paths)
    for one in (best, *found.others):
        paths.append(folder / file_of(one))
        write_text(paths[-1], resolved_text(one.setup, folder))
    paths.append(folder / "to_buy.csv")
    write_csv(paths[-1], ("what", "how much", "what else"), [list(line) for line in to_buy(best)])
    seen = defect_scan(best.setup)
    if seen is not None:
        paths.append(folder / "look.png")
        write_png(paths[-1], preview(seen))
    return tuple(paths)
