"""Outlines of masks as polygons along the edges of samples."""

import numpy as np

from linesim.dataset.labels.rle import Mask

Point = tuple[int, int]
_STEPS: dict[str, Point] = {"east": (1, 0), "south": (0, 1), "west": (-1, 0), "north": (0, -1)}
_LEFT = {"east": "north", "north": "west", "west": "south", "south": "east"}


def polygons(mask: Mask, place: tuple[int, int]) -> list[list[int]] | None:
    """Draw the outlines of a mask."""
    edges = _edges(mask)
    found = []
    while edges:
        ring = _ring(edges)
        after = [*ring[1:], ring[0]]
        if sum(x * v - u * y for (x, y), (u, v) in zip(ring, after, strict=True)) < 0:
            return None
        line, column = place
        found.append([part for x, y in _corners(ring) for part in (x + column, y + line)])
    return found


def _edges(mask: Mask) -> dict[tuple[Point, str], None]:
    """Give all edges between inside and outside, the inside on the right of their direction."""
    inside = np.pad(mask, 1)
    here = inside[1:-1, 1:-1]
    sides = {
        "east": (here & ~inside[:-2, 1:-1], (0, 0)),
        "south": (here & ~inside[1:-1, 2:], (1, 0)),
        "west": (here & ~inside[2:, 1:-1], (1, 1)),
        "north": (here & ~inside[1:-1, :-2], (0, 1)),
    }
    return {
        ((int(column) + dx, int(line) + dy), heading): None
        for heading, (edge, (dx, dy)) in sides.items()
        for line, column in zip(*np.nonzero(edge), strict=True)
    }


def _ring(edges: dict[tuple[Point, str], None]) -> list[Point]:
    """Follow edges around once, and take them out."""
    start = next(iter(edges))
    (x, y), heading = start
    ring: list[Point] = []
    while True:
        del edges[(x, y), heading]
        ring.append((x, y))
        dx, dy = _STEPS[heading]
        x, y = x + dx, y + dy
        # where two samples touch by a corner, turning right keeps them apart
        right = next(name for name, left in _LEFT.items() if left == heading)
        headings = (right, heading, _LEFT[heading])
        onward = next((turn for turn in headings if ((x, y), turn) in edges), None)
        if onward is None:
            return ring
        heading = onward


def _corners(ring: list[Point]) -> list[Point]:
    """Leave out points on straight runs."""
    after = [*ring[1:], ring[0]]
    before = [ring[-1], *ring[:-1]]
    return [
        here
        for old, here, new in zip(before, ring, after, strict=True)
        if (here[0] - old[0], here[1] - old[1]) != (new[0] - here[0], new[1] - here[1])
    ]
