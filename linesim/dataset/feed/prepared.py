"""What a device must know of one image, worked out beside it: plain arrays and small tables."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.draw import Drawn
from linesim.dataset.feed.coats import Coat, Drawing, Held, is_paint
from linesim.dataset.feed.outlines import Outlines, together
from linesim.dataset.feed.seeing import (
    Bare,
    Keys,
    Lens,
    Matrices,
    bare_of,
    blank_of,
    in_one_light,
    lens_of,
)
from linesim.dataset.labels.seen import around, margin_px
from linesim.dataset.plan.plan import Plan
from linesim.dataset.scenes import Piece
from linesim.defects.window import Window
from linesim.forward.capture import capturer, keeps_pixels_apart
from linesim.forward.collect import Shot
from linesim.forward.device.choice import not_carried
from linesim.forward.device.noise import Noise, noise_on
from linesim.forward.device.states import states_of
from linesim.forward.draws import FUSED_SD_E
from linesim.forward.station import station
from linesim.forward.transport import STRIP_LINES
from linesim.setup.arrays import ImageArray
from linesim.setup.setup import Setup
from linesim.targets.faces.face import face_of
from linesim.targets.painted import Grid

Span = tuple[int, int]
"""The first, and one past the last."""


class Mark(NamedTuple):
    """One fault of which a label is wanted."""

    number: int  # of the fault
    cover: int
    rows: Span
    columns: Span
    samples: tuple[Span, Span]  # lines and columns that it can cover
    reach: tuple[Span, Span]  # with the margin that its blur needs
    turn: int  # those of one turn are looked at together, for they are far from each other


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Prepared:
    """One image, ready for a device."""

    index: int
    scene: int
    piece: Piece
    shape: tuple[int, int]  # lines and samples of each
    outlines: Outlines | None
    nuisances: tuple[Coat, ...]  # part of the product
    coats: tuple[Coat, ...]
    marks: tuple[Mark, ...]
    areas_um2: tuple[float, ...]  # of each fault
    lens: Keys  # of what its lens makes of the product
    bare: Keys | None  # of what lies under each sample; none where nothing is labelled
    white_e: float  # what the first is to be multiplied by [e]
    swing: tuple[ImageArray, ImageArray] | None  # light of each line, share of it in each column
    noise: Noise  # its tables are arrays
    states: NDArray[np.int64]  # shape (strips, 4); in which the random streams begin
    full_scale_dn: int


def carried(plan: Plan, asked: Drawn) -> bool:
    """Tell whether an image can be made so, as far as its setup tells."""
    setup, numbers = asked.setup, station(asked.setup)
    return (
        not plan.scenes.real
        and len(plan.scene_shape(asked.scene)) == 2  # noqa: PLR2004 -- rows and columns alone
        and setup.camera.kind == "mono"
        and not setup.target.repeat
        and int(numbers.geometry.lines_joined) == 1
        and face_of(setup) is None
        and not not_carried(setup)
        and not keeps_pixels_apart(setup, numbers)
        and all(is_paint(each.fault()) for each in (*asked.faults, *asked.nuisances))
    )


def prepared(plan: Plan, asked: Drawn) -> tuple[Prepared, tuple[Matrices, ...]] | None:
    """
    Prepare an image.

    Parameters
    ----------
    plan : Plan
    asked : Drawn

    Returns
    -------
    (Prepared, tuple of Matrices) or None; None where it must be made without a device
    """
    if not carried(plan, asked):
        return None
    piece, setup = asked.piece, asked.setup
    # all of its margin: pieces of one size share their matrices
    below, beside = piece.lacks
    shape = piece.rows + below, piece.columns + 2 * beside
    blank = blank_of(setup, shape, asked.lines, asked.seed)
    lens = lens_of(setup, blank)
    noise = None if lens is None else _noise(setup, asked.seed)
    if lens is None or noise is None:
        return None
    drawing = Drawing(
        grid=Grid(pixel_size_um=blank.pixel_size_um, rows=piece.rows, columns=piece.columns)
    )
    under, held = (
        [drawing.held(each.fault()) for each in some] for some in (asked.nuisances, asked.faults)
    )
    bare = bare_of(in_one_light(setup), blank) if held else None
    streams = next(each.streams for each in noise.stages if isinstance(each, Shot))
    matrices = (lens.matrices,) if bare is None else (lens.matrices, bare.matrices)
    made = Prepared(
        index=asked.index,
        scene=asked.scene,
        piece=piece,
        shape=(asked.lines, int(station(setup).geometry.image_width_px)),
        outlines=together(drawing.found) if drawing.found else None,
        nuisances=tuple(coat for each in under for coat in each.coats),
        coats=tuple(coat for each in held for coat in each.coats),
        marks=() if bare is None else _marks(asked, lens, bare, held),
        areas_um2=tuple(each.area_um2 for each in held),
        lens=lens.matrices.keys,
        bare=None if bare is None else bare.matrices.keys,
        white_e=lens.white_e,
        swing=lens.swing,
        noise=noise,
        states=states_of(streams, range(ceil(asked.lines / STRIP_LINES))),
        full_scale_dn=setup.full_scale_dn,
    )
    return made, matrices


def _noise(setup: Setup, seed: int) -> Noise | None:
    """Take the second half of a camera whose noise is one draw a sample."""
    import torch  # noqa: PLC0415 -- an extra

    noise = noise_on(capturer(setup, seed, 0, physical=False), torch.device("cpu"))
    figures = noise.for_kernel()
    if not figures or figures[2] < FUSED_SD_E:
        return None
    tables = tuple(None if each is None else each.numpy() for each in noise.tables)
    return replace(noise, tables=tables)


def _tails_px(setup: Setup, lens: Lens) -> tuple[int, int]:
    """Tell how many lines and columns the light of a point goes at most."""
    numbers, made = station(setup), lens.matrices
    pitch_um = setup.target.pixel_size_um
    sides_um = numbers.timing.line_advance_um, numbers.geometry.object_pixel_x_um
    across = made.tiles[len(made.tiles) // 2].phases[0]
    taps = made.along.taps.shape[2], int((across != 0).any(axis=0).sum(axis=0).max())
    lines, columns = (
        ceil((count + 1) * pitch_um / float(side)) + 1
        for count, side in zip(taps, sides_um, strict=True)
    )
    return lines, columns


def _grown(window: Window, piece: Piece) -> Window:
    """Give a window in a piece with all of its margin, where what lies on its border goes on."""
    (below, beside), wide = piece.lacks, piece.columns
    return replace(
        window,
        bottom=window.bottom + (below if window.bottom == piece.rows else 0),
        left=window.left + (beside if window.left else 0),
        right=window.right + (2 * beside if window.right == wide else beside),
    )


def _marks(asked: Drawn, lens: Lens, bare: Bare, held: Sequence[Held]) -> tuple[Mark, ...]:
    """Place the faults in the image, and sort them into turns in which none is near another."""
    setup, numbers = asked.setup, station(asked.setup)
    tails, margin = _tails_px(setup, lens), margin_px(numbers)
    shape = asked.lines, int(numbers.geometry.image_width_px)
    turns: list[list[tuple[Span, Span]]] = []
    found = []
    for number, each in enumerate(held):
        grown = None if each.window.empty else _grown(each.window, asked.piece)
        place = None if grown is None else bare.seen.place(grown)
        if place is None:
            continue
        (first, last), (left, right) = place.lines, place.columns
        box = first, left, last + 1, right + 1
        reach = around(box, margin, shape)
        wide = tuple(
            (low - more, high + more) for (low, high), more in zip(reach, tails, strict=True)
        )
        turn = next((k for k, others in enumerate(turns) if not _met(wide, others)), len(turns))
        turns += [[]] if turn == len(turns) else []
        turns[turn].append(reach)
        found.append(
            Mark(
                number=number,
                cover=each.cover,
                rows=(each.window.top, each.window.bottom),
                columns=(each.window.left, each.window.right),
                samples=((first, last + 1), (left, right + 1)),
                reach=reach,
                turn=turn,
            )
        )
    return tuple(found)


def _met(wide: tuple[Span, ...], others: Sequence[tuple[Span, Span]]) -> bool:
    """Tell whether a box meets one of some others."""
    return any(
        all(one[0] < two[1] and two[0] < one[1] for one, two in zip(wide, other, strict=True))
        for other in others
    )
