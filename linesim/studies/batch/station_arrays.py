"""Every number of a station, or of what belongs to it, at once, whatever part it is in."""

from collections.abc import Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from linesim.forward.geometry import Figure
from linesim.metrics.detection.texture import Held
from linesim.setup.arrays import FloatArray

Part = TypeVar("Part")
Places = NDArray[np.intp]


def mapped(part: Part, change: Any) -> Part:  # noqa: ANN401 -- from array to array
    """Change every number of a station or a part; texts, tables and what is not there stay."""
    if is_dataclass(part) and not isinstance(part, type):
        changes = {each.name: mapped(getattr(part, each.name), change) for each in fields(part)}
        return replace(part, **changes)
    if isinstance(part, tuple):
        return tuple(mapped(each, change) for each in part)  # type: ignore[return-value]
    if part is None or isinstance(part, str | Held):
        return part
    return change(part)  # type: ignore[no-any-return]


def leaves(part: object) -> list[Any]:
    """List every number of a station, in the order in which `mapped` meets them."""
    found: list[Any] = []
    mapped(part, found.append)
    return found


def frame(part: object) -> tuple[object, ...]:
    """Give what is no number: parts of the same frame may be laid into one."""
    if is_dataclass(part) and not isinstance(part, type):
        return (type(part), *(frame(getattr(part, each.name)) for each in fields(part)))
    if isinstance(part, tuple):
        return tuple(map(frame, part))
    if isinstance(part, Held):
        return (part.frame,)
    return (part,) if part is None or isinstance(part, str) else ()


def taken(part: Part, rows: Places | slice) -> Part:
    """Take rows of many stations; a number that they all share stays one row."""

    def some(leaf: Figure) -> Figure:
        if np.ndim(leaf) < 2 or len(leaf) == 1:  # type: ignore[arg-type]  # noqa: PLR2004
            return leaf
        mine: FloatArray = np.asarray(leaf)[rows]
        return mine[:1] if len(mine) and np.all(mine == mine[0]) else mine

    return mapped(part, some)


def joined(parts: Sequence[Part], counts: Sequence[int]) -> Part:
    """Lay stations of many parts into one."""
    if len(parts) == 1:
        return parts[0]
    columns = zip(*map(leaves, parts), strict=True)
    return mapped(parts[0], lambda _: _column(next(columns), counts))


def _column(values: Sequence[Figure], counts: Sequence[int]) -> FloatArray:
    if all(np.ndim(value) == 0 for value in values):
        return np.repeat(np.array(values, dtype=np.float64), counts)[:, None]
    tables = [np.atleast_2d(value) for value in values]
    colours = max(table.shape[1] for table in tables)
    shapes = [(count, colours) for count in counts]
    return np.concatenate([np.broadcast_to(*each) for each in zip(tables, shapes, strict=True)])


def alike(values: FloatArray, digits: int) -> FloatArray:
    """
    Round to significant digits, so that rounding errors do not part what is equal.

    Parameters
    ----------
    values : ndarray; any; what is not finite stays
    """
    usable = np.isfinite(values) & (values != 0)
    exponent = np.floor(np.log10(np.abs(np.where(usable, values, 1.0))))
    scale = 10.0 ** (digits - 1 - exponent)
    return np.where(usable, np.rint(np.where(usable, values, 0.0) * scale) / scale, values)
