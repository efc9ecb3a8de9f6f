"""Every number of a station at once, whatever part of it they are in."""

from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

Part = TypeVar("Part")


def mapped(part: Part, change: Any) -> Part:  # noqa: ANN401 -- from array to array
    """
    Change every number of a station.

    Parameters
    ----------
    part : dataclass
        A station, or a part of one.
    change : callable
        From the old number or array to the new one.

    Returns
    -------
    dataclass
        Of the same kind.
    """
    if is_dataclass(part) and not isinstance(part, type):
        changes = {each.name: mapped(getattr(part, each.name), change) for each in fields(part)}
        return replace(part, **changes)
    return change(part)  # type: ignore[no-any-return]


def leaves(part: object) -> list[Any]:
    """List every number of a station, in the order in which `mapped` meets them."""
    if is_dataclass(part) and not isinstance(part, type):
        return [leaf for each in fields(part) for leaf in leaves(getattr(part, each.name))]
    return [part]
