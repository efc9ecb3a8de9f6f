"""The sample sheet: some images of a set, with the outlines of their labels."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from linesim.dataset.draw import taken
from linesim.dataset.layout import SHEET
from linesim.dataset.plan.plan import Plan
from linesim.dataset.record import Record
from linesim.dataset.samples_in import read_record, read_samples
from linesim.files.images_out import write_png
from linesim.forward.station import Station
from linesim.report.picture import Grid, tones, white_for
from linesim.report.sheet import Panel, sheet

_MOST = 12
_COLUMNS = 4
_WIDTH_PX = 380
_VISIBLE, _HIDDEN = (255, 150, 30), (90, 170, 255)
_GREY = 2


def write_samples(plan: Plan, folder: Path) -> None:
    """Write the sheet."""
    panels = [_panel(plan, folder, index) for index in _chosen(plan)]
    what = "faults simulated" if plan.scenes.real else "simulated"
    heading = f"{plan.title} ({what})"
    page = sheet(panels, columns=_COLUMNS, width_px=_WIDTH_PX, heading=heading)
    write_png(folder / SHEET, page)


def _chosen(plan: Plan) -> list[int]:
    """Take some images, evenly."""
    return sorted({round(k) for k in np.linspace(0, plan.count - 1, min(_MOST, plan.count))})


def _panel(plan: Plan, folder: Path, index: int) -> Panel:
    record, numbers = read_record(plan, folder, index), taken(plan, index).numbers
    grey = _tones(record, read_samples(folder / record["image"]).astype(np.uint16), numbers)
    shown = np.stack([grey] * 3, axis=2) if grey.ndim == _GREY else grey
    classes = read_samples(folder / record["mask"])
    labelled = [each for each in record["faults"] if each["labelled"]]
    for each in labelled:
        x, y, wide, high = each["bbox"]
        own = np.zeros(classes.shape, dtype=np.bool_)
        own[y : y + high, x : x + wide] = (
            classes[y : y + high, x : x + wide] == each["class_id"] + 1
        )
        shown[_around(own)] = _VISIBLE if each["visible"] else _HIDDEN
    kinds = ", ".join(dict.fromkeys(each["kind"] for each in labelled)) or "good"
    return Panel(
        image=shown,
        grid=Grid(
            across_um=float(numbers.geometry.object_pixel_x_um),
            along_um=float(numbers.timing.line_advance_um),
        ),
        title=f"{index} {record['split']}: {kinds}",
    )


def _tones(record: Record, image: NDArray[np.uint16], numbers: Station) -> NDArray[np.uint8]:
    """Show stretched images as they are, one grey scale for all; samples each to its own white."""
    if "image_bits" in record:
        return tones(image, 0.0, float(2 ** record["image_bits"] - 1))
    black_dn = float(numbers.sensor.black_level_dn)
    return tones(image, black_dn, white_for(image, black_dn))


def _around(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Ring a mask, a sample away from it, so that what lies under it stays to be seen."""
    eight = np.ones((3, 3), dtype=np.bool_)
    near = binary_dilation(mask, eight)
    return np.asarray(binary_dilation(near, eight) & ~near)
