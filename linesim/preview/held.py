"""Results that are kept while there is room; those that were not asked for longest go first."""

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Key:
    """A key that is hashed once: to hash a setup takes a tenth of a millisecond each time."""

    __slots__ = ("_hash", "_value")

    def __init__(self, value: Hashable) -> None:
        self._value = value
        self._hash = hash(value)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Key) and self._hash == other._hash and self._value == other._value


class Held(Generic[Value]):
    """A store that is bounded in bytes; several threads may share it."""

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._kept: OrderedDict[Hashable, tuple[Value, int]] = OrderedDict()
        self._lock = Lock()
        self._size_bytes = 0

    def get(self, key: Hashable) -> Value | None:
        """Give a value, if it is there, and keep it longer."""
        with self._lock:
            if key not in self._kept:
                return None
            self._kept.move_to_end(key)
            return self._kept[key][0]

    def put(self, key: Hashable, value: Value, size_bytes: int) -> Value:
        """Keep a value; let others go until there is room."""
        with self._lock:
            self._size_bytes -= self._kept.pop(key)[1] if key in self._kept else 0
            self._kept[key] = (value, size_bytes)
            self._size_bytes += size_bytes
            while len(self._kept) > 1 and self._size_bytes > self._most_bytes:
                _, (_, gone_bytes) = self._kept.popitem(last=False)
                self._size_bytes -= gone_bytes
        return value

    @property
    def size_bytes(self) -> int:
        """Bytes that are kept."""
        return self._size_bytes

    def __len__(self) -> int:
        """Count what is kept."""
        return len(self._kept)
