"""What a device must know of one image, worked out beside it: plain arrays and small tables."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np
from numpy.typing import NDArray

from linesim.dataset.draw import Drawn
from linesim.dataset.feed.coats import Coat, Drawing, Held, is_paint
from linesim.dataset.feed.outlines import Outlines, together
from linesim.dataset.feed.seeing import (
    Bare,
    Lens,
    Matrices,
    bare_of,
    blank_of,
    in_one_light,
    lens_of,
)
from linesim.dataset.labels.seen import around, margin_px
from linesim.dataset.plan.plan import Plan
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
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
    piece: tuple[int, int, int, int]  # first row and column in its scene, rows and columns
    shape: tuple[int, int]  # lines and samples of each
    outlines: Outlines | None
    nuisances: tuple[Coat, ...]  # part of the product
    coats: tuple[Coat, ...]
    marks: tuple[Mark, ...]
    areas_um2: tuple[float, ...]  # of each fault
    lens: bytes  # the key of what its lens makes of the product
    bare: bytes | None  # of what lies under each sample; none where nothing is labelled
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
    blank = blank_of(setup, (piece.rows, piece.columns), asked.lines, asked.seed)
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
        piece=(piece.top, piece.left, piece.rows, piece.columns),
        shape=(asked.lines, int(station(setup).geometry.image_width_px)),
        outlines=together(drawing.found) if drawing.found else None,
        nuisances=tuple(coat for each in under for coat in each.coats),
        coats=tuple(coat for each in held for coat in each.coats),
        marks=() if bare is None else _marks(setup, lens, bare, held),
        areas_um2=tuple(each.area_um2 for each in held),
        lens=lens.matrices.key,
        bare=None if bare is None else bare.matrices.key,
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
    taps = made.along.taps.shape[2], made.across.taps.shape[2]
    lines, columns = (
        ceil((count + 1) * pitch_um / float(side)) + 1
        for count, side in zip(taps, sides_um, strict=True)
    )
    return lines, columns


def _marks(setup: Setup, lens: Lens, bare: Bare, held: Sequence[Held]) -> tuple[Mark, ...]:
    """Place the faults in the image, and sort them into turns in which none is near another."""
    tails, margin = _tails_px(setup, lens), margin_px(station(setup))
    shape = bare.matrices.lines, len(bare.matrices.across.first)
    turns: list[list[tuple[Span, Span]]] = []
    found = []
    for number, each in enumerate(held):
        place = None if each.window.empty else bare.seen.place(each.window)
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
