"""
More of a structured surface: image quilting, pieces of a photograph sewn together.

Square pieces are laid in rows, each over the border of those before it. Of a number of places of
the photograph drawn by chance, one that fits well where they overlap is taken, those less used
before; the cut between old and new runs where they differ least. A place near one that its
neighbours were taken from is not taken again, so that no stretch of the photograph goes on.

Limits: values are those of the photograph, so their histogram is kept as far as places are chosen
evenly; structures larger than a piece are lost, and a surface with few places that fit shows seams.
Regular patterns (bricks) keep their pitch only as far as a piece sees it.

References
----------
Efros, Freeman: Image quilting for texture synthesis and transfer, SIGGRAPH 2001: pieces, overlap of
a sixth, minimum error boundary cut (from memory). Candidates by chance and the rule of neighbours
are ours.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse

SHARE = 6
"""A piece's side over its overlap."""
LEAST_PX = 96
"""Sides of the smallest photograph to quilt with."""
_CANDIDATES = 120
_CELLS = 4
"""Cells along a piece's side, by which it is counted what of the photograph was taken."""
_EVENLY = 1.0
"""How much worse a place counts as fitting for each time it was taken over the mean; our choice."""
_STREAM = 16
Place = tuple[int, int]
Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Quilt:
    """A structured surface, ready to be sewn at any size."""

    photograph: ImageArray  # shape (rows, columns, channels); linear
    piece_px: int

    @property
    def overlap_px(self) -> int:
        """By how much pieces lie over one another. [px]."""
        return max(self.piece_px // SHARE, 2)

    @property
    def step_px(self) -> int:
        """From one piece to the next. [px]."""
        return self.piece_px - self.overlap_px

    def strips(self, rows: int, columns: int, seed: int) -> Iterator[ImageArray]:
        """Sew it from the top, a row of pieces at a time, of float32."""
        across = -(-columns // self.step_px)
        wide = across * self.step_px + self.overlap_px
        channels = self.photograph.shape[2]
        above: ImageArray | None = None
        taken: list[Place] = []
        used = np.zeros(tuple(side // self._cell_px + 1 for side in self.photograph.shape[:2]))
        for band, top in enumerate(range(0, rows, self.step_px)):
            random = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(_STREAM, band)))
            sewn = np.zeros((self.piece_px, wide, channels), dtype=np.float32)
            if above is not None:
                sewn[: self.overlap_px] = above
            taken = self._row(sewn, taken, used, random)
            above = sewn[self.step_px :].copy()
            out = sewn[: min(self.step_px, rows - top), :columns]
            yield out[:, :, 0] if channels == 1 else out

    @property
    def _cell_px(self) -> int:
        """Side of the cells by which it is counted where pieces come from."""
        return max(self.piece_px // _CELLS, 1)

    def _row(
        self, sewn: ImageArray, before: list[Place], used: FloatArray, random: np.random.Generator
    ) -> list[Place]:
        """Sew one row of pieces in place; tell where each was taken from."""
        taken: list[Place] = []
        size, over = self.piece_px, self.overlap_px
        for number in range((sewn.shape[1] - over) // self.step_px):
            left = number * self.step_px
            under = sewn[:, left : left + size]
            sides = bool(before), number > 0
            near = [*before[max(number - 2, 0) : number + 3], *taken[-3:]]
            place = self._best(under, sides, (near, used), random)
            top, side = (part // self._cell_px for part in place)
            used[top : top + _CELLS, side : side + _CELLS] += 1
            piece = self._piece(place)
            weight = _cut(((under - piece) ** 2).sum(axis=2), over, sides)
            under[...] = np.where(weight[:, :, None], piece, under)
            taken.append(place)
        return taken

    def _piece(self, place: Place) -> ImageArray:
        size = self.piece_px
        return self.photograph[place[0] : place[0] + size, place[1] : place[1] + size]

    def _best(
        self,
        under: ImageArray,
        sides: tuple[bool, bool],
        past: tuple[list[Place], FloatArray],
        random: np.random.Generator,
    ) -> Place:
        """Choose of places drawn by chance the one that fits best, those less used before."""
        near, used = past
        drawn = self._candidates(near, random)
        if not any(sides):
            return int(drawn[0, 0]), int(drawn[0, 1])
        cells = drawn // self._cell_px
        covered = np.lib.stride_tricks.sliding_window_view(used, (_CELLS, _CELLS)).mean(axis=(2, 3))
        counts = covered[tuple(np.minimum(cells, np.array(covered.shape) - 1).T)]
        errors = self._errors(under, sides, drawn)
        best = drawn[int((errors * (1 + _EVENLY * counts / max(used.mean(), 1.0))).argmin())]
        return int(best[0]), int(best[1])

    def _candidates(self, near: list[Place], random: np.random.Generator) -> Places:
        """Draw places by chance, away from those of the neighbours."""
        size = self.piece_px
        ends = tuple(side - size + 1 for side in self.photograph.shape[:2])
        # as often over the borders as inside, and then moved in: a border is in fewer pieces
        wide = [random.integers(-size // 2, end + size // 2, _CANDIDATES) for end in ends]
        drawn = np.stack([np.clip(w, 0, e - 1) for w, e in zip(wide, ends, strict=True)], axis=1)
        if near:
            apart = np.abs(drawn[:, None] - np.array(near)[None]).max(axis=2).min(axis=1)
            free = drawn[apart >= size // 2]
            drawn = free if len(free) else drawn[[int(apart.argmax())]]
        return drawn

    def _errors(self, under: ImageArray, sides: tuple[bool, bool], drawn: Places) -> FloatArray:
        """Tell how badly pieces fit over what is there."""
        size, over = self.piece_px, self.overlap_px
        errors = np.zeros(len(drawn))
        windows = np.lib.stride_tricks.sliding_window_view(self.photograph, (size, size), (0, 1))
        pieces = windows[drawn[:, 0], drawn[:, 1]]  # (candidates, channels, size, size)
        old = np.moveaxis(under, 2, 0)
        if sides[0]:
            errors += _squares(pieces[:, :, :over], old[:, :over])
        if sides[1]:
            errors += _squares(pieces[:, :, :, :over], old[:, :, :over])
        return errors


def _squares(pieces: ImageArray, old: ImageArray) -> FloatArray:
    return np.asarray(((pieces - old) ** 2).sum(axis=(1, 2, 3), dtype=np.float64))


def _cut(errors: ImageArray, over: int, sides: tuple[bool, bool]) -> NDArray[np.bool_]:
    """Give where the new piece lies on top: right of one cut, below the other."""
    new = np.ones(errors.shape, dtype=np.bool_)
    if sides[0]:
        new[:over] &= _beyond(errors[:over].T).T
    if sides[1]:
        new[:, :over] &= _beyond(errors[:, :over])
    return new


def _beyond(errors: ImageArray) -> NDArray[np.bool_]:
    """Cut a strip from its first row to its last where it costs least; what lies right is new."""
    costs = errors.astype(np.float64).copy()
    for row in range(1, len(costs)):
        last = np.pad(costs[row - 1], 1, constant_values=np.inf)
        costs[row] += np.minimum(np.minimum(last[:-2], last[1:-1]), last[2:])
    cuts = np.empty(len(costs), dtype=np.intp)
    cuts[-1] = costs[-1].argmin()
    for row in range(len(costs) - 2, -1, -1):
        low = max(int(cuts[row + 1]) - 1, 0)
        cuts[row] = low + int(costs[row, low : cuts[row + 1] + 2].argmin())
    return np.asarray(np.arange(costs.shape[1])[None] >= cuts[:, None])


def quilt(photograph: ImageArray) -> Quilt:
    """Make ready to sew more of a linear, evenly lit photograph."""
    side = min(photograph.shape[:2])
    if side < LEAST_PX:
        refuse(
            f"a photograph of {photograph.shape[1]} x {photograph.shape[0]} pixels is too small; "
            f"expected {LEAST_PX} or more each way"
        )
    return Quilt(
        photograph=np.atleast_3d(photograph).astype(np.float32), piece_px=max(side // 5, 24)
    )
