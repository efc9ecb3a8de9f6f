"""
The defect that is asked for, at its size, as a variant would deliver it on even product.

A scan shows what happens to lie on the target; what was asked for is drawn here by itself, in the
middle of the line, on product of the level that the budget judges by: dark by the contrast asked
for, or with the relief asked for under the lamps of the variant. Noise, motion, lens and pattern
are those of the variant; the product's own texture is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.defects.relief_faults import Laid, relief_fault, with_relief
from linesim.figures.case import values
from linesim.figures.plain_numbers import change_words, digits
from linesim.forward.reference import ArrayReference, Reference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.forward.transport import first_line_um
from linesim.report.picture import Grid, tones
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.compare.light_words import change_of, fault_of
from linesim.studies.compare.study import Compared
from linesim.studies.scan.outputs import grid_of
from linesim.targets.faces.face import face_under
from linesim.targets.faces.faced import FacedReference
from linesim.targets.faces.relief import Heights, relief_of

_ROOM = (7.0, 4.0)
"""Widths of the defect that are seen besides it, across and along; our choice."""
_FEWEST = 6
"""Samples across and along that are seen at least."""
_FINE = 12
"""Reference pixels across the defect."""
_OF_SAMPLE = 4
_SPREADS, _CONTRASTS = 4.0, 2.0
"""Of the noise and of the contrast, that the grey scale reaches to either side of the product."""
_DARKEST = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Required:
    """The required defect in one variant."""

    image: NDArray[np.uint8]  # samples as delivered, ready for the screen
    grid: Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class _Window:
    """The piece of even product, and where on it the defect lies: in the middle. [µm]."""

    width_um: float
    length_um: float
    lines: int
    columns: int
    middle_um: float
    pitch_um: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the reference."""
        rows = int(np.ceil((self.middle_um + self.length_um) / self.pitch_um))
        return rows, 2 * int(np.ceil(self.width_um / self.pitch_um / 2))

    @property
    def places_um(self) -> tuple[np.ndarray, np.ndarray]:
        """Places of the reference's pixels from the defect's middle, across and along. [µm]."""
        rows, columns = self.shape
        across_um = (np.arange(columns) + 0.5 - columns / 2) * self.pitch_um
        along_um = (np.arange(rows) + 0.5) * self.pitch_um - self.middle_um
        return across_um[None, :], along_um[:, None]


def required_words(setup: Setup) -> str:
    """Say what defect is required; nothing where none is."""
    need = setup.requirement
    if need.defect_relief is not None:
        relief = need.defect_relief
        return f"{relief.kind} {digits(relief.width_um)} um wide"
    if setup.smallest_defect_um is None:
        return ""
    shape = "disc of" if need.defect_shape == "disc" else "scratch of"
    dark = change_words(-need.defect_contrast)
    return f"{shape} {digits(setup.smallest_defect_um)} um, {dark}"


def required_defects(variants: Sequence[Compared]) -> tuple[Required, ...]:
    """Show the required defect in each variant about its product; none on black, none unasked."""
    if any(one.scan.setup.defect_sides_um is None for one in variants):
        return ()
    if any(min(_level(one)) <= _DARKEST for one in variants):
        return ()
    sides_um = _sides_um(variants)
    return tuple(_seen(one, sides_um) for one in variants)


def _level(one: Compared) -> FloatArray:
    """Give the product's level as shares of white, one a colour."""
    signal = one.scan.budget["signal"]
    pairs = (values(signal[name]) for name in ("electrons_product", "electrons_white"))
    return np.array([p / w if w > 0 else 0.0 for p, w in zip(*pairs, strict=True)])


def _reach(one: Compared) -> float:
    """Say how far from the product the scale must reach, as a share of it."""
    seen = change_of(one)
    contrast = one.scan.setup.requirement.defect_contrast if seen is None else abs(seen)
    snr = min(values(one.scan.budget["signal"]["snr_product"]))
    return max(_CONTRASTS * contrast, _SPREADS / max(snr, 1.0))


def _sides_um(variants: Sequence[Compared]) -> tuple[float, float]:
    """Choose a piece of product that all see, of whole samples of the coarsest."""
    setup = variants[0].scan.setup
    sides_um = setup.defect_sides_um or (0.0, 0.0)
    width_um = setup.smallest_defect_um or min(sides_um)
    across_um = max(grid_of(one.scan.budget).across_um for one in variants)
    along_um = max(grid_of(one.scan.budget).along_um for one in variants)
    wanted = [side + room * width_um for side, room in zip(sides_um, _ROOM, strict=True)]
    return (
        max(_FEWEST, np.ceil(wanted[0] / across_um)) * across_um,
        max(_FEWEST, np.ceil(wanted[1] / along_um)) * along_um,
    )


def _seen(one: Compared, sides_um: tuple[float, float]) -> Required:
    setup, grid = one.scan.setup, grid_of(one.scan.budget)
    window = _window(setup, grid, sides_um)
    target = _faulty(one, window) if fault_of(one) else _dark(one, window)
    image = render(setup, target, window.lines, one.scan.seed, workers=1).image
    first = (image.shape[1] - window.columns) // 2
    cut = image[:, max(first, 0) : max(first, 0) + window.columns]
    return Required(image=_toned(one, cut), grid=grid)


def _window(setup: Setup, grid: Grid, sides_um: tuple[float, float]) -> _Window:
    numbers = station(setup)
    lines = max(1, round(sides_um[1] / grid.along_um))
    # a line sees its own height, and what passes while it is exposed
    looked_um = float(numbers.geometry.object_pixel_y_um + numbers.motion_um)
    top_um = (looked_um - grid.along_um) / 2 + first_line_um(setup, numbers)
    width_um = setup.smallest_defect_um or min(setup.defect_sides_um or sides_um)
    return _Window(
        width_um=sides_um[0],
        length_um=sides_um[1],
        lines=lines,
        columns=max(1, round(sides_um[0] / grid.across_um)),
        middle_um=top_um + lines * grid.along_um / 2,
        pitch_um=min(width_um / _FINE, grid.across_um / _OF_SAMPLE, grid.along_um / _OF_SAMPLE),
    )


def _dark(one: Compared, window: _Window) -> Reference:
    """Paint a dark disc or scratch on even product."""
    setup = one.scan.setup
    x_um, y_um = window.places_um
    wide_um, long_um = setup.defect_sides_um or (0.0, 0.0)
    if setup.requirement.defect_shape == "disc":
        inside = np.hypot(x_um, y_um) <= wide_um / 2
    else:
        inside = (np.abs(x_um) <= wide_um / 2) & (np.abs(y_um) <= long_um / 2)
    share = np.where(inside, 1 - setup.requirement.defect_contrast, 1.0)
    return _reference(share, _level(one), window.pitch_um)


def _reference(share: FloatArray, level: FloatArray, pitch_um: float) -> ArrayReference:
    """Bring shares of the product to its level, one a colour where there are several."""
    data = share[..., None] * level if len(level) > 1 else share * level[0]
    return ArrayReference(data=np.asarray(data, dtype=np.float32), pixel_size_um=pitch_um)


def _faulty(one: Compared, window: _Window) -> Reference:
    """Lay the fault with relief on even product under the variant's lamps."""
    need, face = one.scan.setup.requirement.defect_relief, face_under(one.scan.setup)
    assert need is not None  # noqa: S101 -- who calls has seen that
    turn_deg = 0.0 if need.direction == "along" else 90.0
    fault = relief_fault(need.kind, need.width_um, need.depth_um, need.length_um, turn_deg)
    rows, columns = window.shape
    laid = Laid(fault=fault, x_um=columns * window.pitch_um / 2, y_um=window.middle_um)
    heights_um, _ = with_relief(np.zeros((rows, columns)), (laid,), window.pitch_um)
    heights = Heights.of(np.asarray(heights_um, dtype=np.float32))
    # the share of white that is scattered: the level under these lamps is linear in it
    none, white = face.lit(0.0), face.lit(1.0)
    matt = np.clip((_level(one) - none) / max(white - none, _DARKEST), 0.0, None)
    return FacedReference(
        matt=_reference(np.ones((rows, columns)), matt, window.pitch_um),
        face=face,
        relief=relief_of(heights, window.pitch_um, face, name=need.kind, bare=False),
    )


def _toned(one: Compared, cut: NDArray[np.uint16]) -> NDArray[np.uint8]:
    """Show what lies about the product, twice the contrast and four spreads of noise at least."""
    black_dn = float(one.scan.setup.camera.black_level_dn)
    product_dn = np.array(values(one.scan.budget["signal"]["dn_product"])) - black_dn
    share = (cut - black_dn) / np.maximum(product_dn, _DARKEST)
    reach = _reach(one)
    return tones(share, max(1 - reach, 0.0), 1 + reach)
