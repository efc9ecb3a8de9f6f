"""Results that are kept while there is room; those that were not asked for longest go first."""

from collections import OrderedDict
from collections.abc import Hashable
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Held(Generic[Value]):
    """A store that is bounded in bytes, for one thread."""

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._kept: OrderedDict[Hashable, tuple[Value, int]] = OrderedDict()

    def get(self, key: Hashable) -> Value | None:
        """Give a value, if it is there, and keep it longer."""
        if key not in self._kept:
            return None
        self._kept.move_to_end(key)
        return self._kept[key][0]

    def put(self, key: Hashable, value: Value, size_bytes: int) -> Value:
        """Keep a value; let others go until there is room."""
        self._kept[key] = (value, size_bytes)
        self._kept.move_to_end(key)
        while len(self._kept) > 1 and self.size_bytes > self._most_bytes:
            self._kept.popitem(last=False)
        return value

    @property
    def size_bytes(self) -> int:
        """Bytes that are kept."""
        return sum(size for _, size in self._kept.values())

    def __len__(self) -> int:
        """Count what is kept."""
        return len(self._kept)
