"""The report of a restored scan: scan and target on one place, and what the target is worth."""

import numpy as np
from PIL import Image

from linesim.figures.plain_numbers import digits
from linesim.report.page_parts import Cautions, Divider, Facts, Listing, Page, Part, Section
from linesim.report.picture import round_length_mm
from linesim.report.setup_tables import setup_section
from linesim.setup.arrays import ImageArray
from linesim.studies.calibrate.outputs import white_of
from linesim.studies.calibrate.words import target_lines
from linesim.studies.restore.study import Material
from linesim.studies.restore.words import spoken
from linesim.studies.scan.before_after import on_screen, png_of

_LONGEST_PX = 1200
_DETAIL = 96
"""Samples of the scan in a detail, each way."""
_DETAIL_PX = 8


def _fitted(part: ImageArray, size: tuple[int, int], resampling: Image.Resampling) -> bytes:
    """Bring reflectances to the screen at a size, resampled in linear light."""
    sized = Image.fromarray(np.ascontiguousarray(part)).resize(size, resampling)
    return png_of(on_screen(np.asarray(sized)))


def _busiest(plain: ImageArray) -> tuple[slice, slice]:
    """Find the part of the scan in which most is going on."""
    side = [min(_DETAIL, each) for each in plain.shape]
    starts = [
        range(0, each - own + 1, max(1, own // 2))
        for each, own in zip(plain.shape, side, strict=True)
    ]
    parts = [(slice(y, y + side[0]), slice(x, x + side[1])) for y in starts[0] for x in starts[1]]
    return max(parts, key=lambda part: float(plain[part].std()))


def _divider(
    found: Material, part: tuple[slice, slice], size: tuple[int, int], says: str
) -> Divider:
    """Set the scan against the target on one part of the scan, on one grey scale."""
    ratio = [whole / own for whole, own in zip(found.data.shape, found.plain.shape, strict=True)]
    fine = tuple(
        slice(round(each.start * times), round(each.stop * times))
        for each, times in zip(part, ratio, strict=True)
    )
    top = float(np.percentile(found.plain, 99.9)) or 1.0
    wide_mm = (fine[1].stop - fine[1].start) * found.pixel_size_um / 1000
    bar_mm = round_length_mm(0.3 * wide_mm)
    larger = size[0] >= part[1].stop - part[1].start
    resamplings = (
        Image.Resampling.NEAREST if larger else Image.Resampling.BOX,
        Image.Resampling.BOX,
    )
    return Divider(
        before=_fitted(found.plain[part] / np.float32(top), size, resamplings[0]),
        after=_fitted(found.data[fine] / np.float32(top), size, resamplings[1]),
        names=("Scan", "Target"),
        alts=("The scan in reflectance, as seen", "The target that was made of it"),
        size_px=size,
        bar=(f"{bar_mm:g} mm", bar_mm / wide_mm),
        caption=f"{says} White is a reflectance of {digits(top)} in both.",
    )


def _size(found: Material, part: tuple[slice, slice], longest_px: int) -> tuple[int, int]:
    """Choose the size of a picture of a part, in true proportion."""
    rows, columns = (
        (each.stop - each.start) * whole / own
        for each, whole, own in zip(part, found.data.shape, found.plain.shape, strict=True)
    )
    scale = longest_px / max(rows, columns)
    return max(1, round(columns * scale)), max(1, round(rows * scale))


def restored_page(found: Material) -> Page:
    """Make the report of a restored scan."""
    lines, width = found.plain.shape
    whole, detail = (slice(0, lines), slice(0, width)), _busiest(found.plain)
    dividers: tuple[Part, ...] = (
        _divider(
            found,
            whole,
            _size(found, whole, min(_LONGEST_PX, max(found.data.shape))),
            f"All of it, {width} x {lines} samples.",
        ),
        _divider(
            found,
            detail,
            _size(found, detail, _DETAIL * _DETAIL_PX),
            "A detail, where most is going on, magnified until each sample is seen.",
        ),
    )
    rows = tuple((each.code, each.text) for each in found.cautions)
    minded = (Section("Cautions", (Cautions("To mind", rows),)),)
    lines_text = target_lines(found.pixel_size_um, white_of(found.data))
    return Page(
        title=found.name,
        job="A scan as a target",
        lead=spoken(found),
        sections=(
            Section("Scan and target", (_facts(found), *dividers)),
            *(minded if rows else ()),
            Section("In a setup", (Listing("[target]", lines_text),)),
            setup_section(found.setup),
        ),
    )


def _facts(found: Material) -> Facts:
    return Facts(
        (
            ("true to, across", f"{digits(found.true_to_x_lp_mm)} lp/mm", ""),
            ("true to, along", f"{digits(found.true_to_y_lp_mm)} lp/mm", ""),
            ("finest station", f"{digits(found.finest_um)} um", "object pixel"),
            ("noise left", f"{found.noise_left:.4f}", "rms of reflectance"),
        )
    )
