"""
The page of a comparison: the same piece of target in all variants, on one grey scale and stretched.

The upper row shows all on one grey scale, so that what is too dark looks too dark. The lower row
stretches each to its own range, and shows under it the defect that is required, at its size and on
a grey scale about the product. Samples are never averaged for the page, since that would take
noise away; of a scan with more samples than fit, a piece is shown.
"""

from collections.abc import Mapping, Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from linesim.figures.case import values
from linesim.figures.plain_numbers import digits
from linesim.figures.verdicts import worst_state
from linesim.report.picture import Grid, tones, white_for
from linesim.report.sheet import Panel, sheet
from linesim.studies.compare.closeup import (
    defect_size_um,
    finest,
    sample_um2,
    samples_in,
    strongest_spot,
    window,
)
from linesim.studies.compare.light_words import fault_of, seen_words
from linesim.studies.compare.required import required_defects, required_words
from linesim.studies.compare.study import Comparison
from linesim.studies.scan.outputs import grid_of
from linesim.studies.scan.study import Scan
from linesim.studies.scan.views import Place

Sample = TypeVar("Sample", np.uint8, np.uint16)
_PAGE_PX = 1300
_ROW_PX = 1000
_TALLEST_PX = 800
_RELIEF_PX = 3
"""Object pixels that a fault with relief counts at least for that; our choice."""
_CNR = "defect_cnr"


def compare_sheet(found: Comparison, *, true_proportion: bool = False) -> NDArray[np.uint8]:
    """Draw the page of a comparison."""
    scans = [one.scan for one in found.variants]
    width_px = _width_px(scans, true_proportion=true_proportion)
    share = max(_white_share(scan) for scan in scans)
    pieces, asked = _pieces(scans, width_px), required_defects(found.variants)
    insets: list[NDArray[np.uint8] | None] = [each.image for each in asked]
    if true_proportion:
        pieces = [_squared(*piece) for piece in pieces]
        insets = [_squared(each.image, each.grid)[0] for each in asked]
    insets = insets or [None] * len(pieces)
    upper = [
        Panel(
            image=tones(samples, *_range(one.scan, share)),
            grid=grid,
            title=f"{one.title}: {_worth(one.scan)}"
            f"{f'; {seen_words(one)}' if fault_of(one) else ''}",
        )
        for one, (samples, grid) in zip(found.variants, pieces, strict=True)
    ]
    lower = [
        Panel(
            image=tones(samples, *_range(one.scan, _white_share(one.scan))),
            grid=grid,
            title=f"{one.title}, stretched to {_said(_range(one.scan, _white_share(one.scan)))}",
            inset=inset,
        )
        for one, (samples, grid), inset in zip(found.variants, pieces, insets, strict=True)
    ]
    note = "; under it the required defect on even product, each about its own level: "
    note = f"{note}{required_words(scans[0].setup)}" if asked else ""
    heading = (
        f"{found.title} – above on one grey scale (white: {100 * share:.3g} % of full scale), "
        f"below each on its own{note}"
    )
    return sheet([*upper, *lower], columns=len(scans), width_px=width_px, heading=heading)


def required_sheet(found: Comparison) -> NDArray[np.uint8] | None:
    """Draw the required defect in all variants side by side; nothing where none is required."""
    asked = required_defects(found.variants)
    if not asked:
        return None
    panels = [
        Panel(image=each.image, grid=each.grid, title=one.title)
        for one, each in zip(found.variants, asked, strict=True)
    ]
    return sheet(panels, columns=len(panels), width_px=_ROW_PX // len(panels))


def _width_px(scans: Sequence[Scan], *, true_proportion: bool) -> int:
    """Choose the width of a picture, so that neither the row nor a stretched one is too long."""
    stretch = max(1 / scan.budget.number("geometry", "pixel_aspect") for scan in scans)
    tallest = 1.0 if true_proportion else max(1.0, stretch)
    return min(_PAGE_PX // len(scans), round(_TALLEST_PX / tallest))


def _pieces(scans: Sequence[Scan], width_px: int) -> list[tuple[NDArray[np.uint16], Grid]]:
    """Cut the same piece of the target out of all scans, around the strongest spot."""
    fine = _searched_scan(scans)
    size_um = _size_um(fine)
    spot_um = strongest_spot(fine, size_um)
    side_um = width_px * fine.budget.number("geometry", "object_pixel_x_um")
    shown = window(scans, spot_um, (side_um, side_um))
    return [_piece(scan, samples_in(scan, shown)) for scan in scans]


def _searched_scan(scans: Sequence[Scan]) -> Scan:
    """Choose where to search for a spot: of scans as fine, where a fault with relief shows most."""
    fine = finest(scans)
    if fine.setup.requirement.defect_relief is None:
        return fine
    as_fine = [scan for scan in scans if sample_um2(scan) <= sample_um2(fine)]
    return max(as_fine, key=lambda scan: max(values(scan.budget["detection"].get(_CNR, 0.0))))


def _size_um(scan: Scan) -> float:
    """Tell what size is magnified: a fault with relief may be narrower than a sample."""
    size_um = defect_size_um(scan)
    if scan.setup.requirement.defect_relief is None:
        return size_um
    return max(size_um, _RELIEF_PX * scan.budget.number("geometry", "object_pixel_x_um"))


def _piece(scan: Scan, shown: Place) -> tuple[NDArray[np.uint16], Grid]:
    last_line, last_column = shown.first_line + shown.lines, shown.first_column + shown.columns
    samples = scan.image[shown.first_line : last_line, shown.first_column : last_column]
    return samples, grid_of(scan.budget)


def _squared(samples: NDArray[Sample], grid: Grid) -> tuple[NDArray[Sample], Grid]:
    """Repeat lines or columns until a sample is as long as it is wide."""
    side_um = min(grid.across_um, grid.along_um)
    along, across = grid.along_um / side_um, grid.across_um / side_um
    lines, width = samples.shape[:2]
    rows = ((np.arange(round(lines * along)) + 0.5) / along).astype(np.intp)
    columns = ((np.arange(round(width * across)) + 0.5) / across).astype(np.intp)
    return samples[rows][:, columns], Grid(across_um=side_um, along_um=side_um)


def _white_share(scan: Scan) -> float:
    """Tell what is white in a scan, as a share of what its numbers can say."""
    black_dn = scan.setup.camera.black_level_dn
    return (white_for(scan.image, black_dn) - black_dn) / (scan.setup.full_scale_dn - black_dn)


def _range(scan: Scan, share: float) -> tuple[float, float]:
    """Give what is shown as black and as white. [DN]."""
    black_dn = scan.setup.camera.black_level_dn
    return black_dn, black_dn + share * (scan.setup.full_scale_dn - black_dn)


def _said(limits_dn: tuple[float, float]) -> str:
    return f"{limits_dn[0]:.0f} to {limits_dn[1]:.0f} DN"


def _worth(scan: Scan) -> str:
    """Say what a scan is worth in three figures, of several colours the weakest."""
    signal, place = scan.budget["signal"], scan.budget["geometry"]
    snr, product_e = (min(values(signal[n])) for n in ("snr_product", "electrons_product"))
    colour = ", weakest colour" if isinstance(signal["snr_product"], Mapping) else ""
    states = {each.requirement: each.state for each in scan.budget.verdicts}
    clips = "" if states["clipping"] == "met" else ", clips"
    stuck = ", cannot run" if worst_state(scan.budget.verdicts) == "cannot run" else ""
    return (
        f"product {product_e:.0f} e, SNR {digits(snr)}{colour}{clips}{stuck}; object pixel "
        f"{place['object_pixel_x_um']:.4g} x {place['object_pixel_y_um']:.4g} um"
    )
