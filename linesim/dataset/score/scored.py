"""One labelled fault, and whether a detector has found it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """A labelled fault of a set."""

    index: int
    kind: str
    size_um: float  # diameter of a disc of its area [µm]
    contrast: float
    dprime: float
    bbox: tuple[int, int, int, int]
    found: bool  # by a prediction that counts
    # share of such faults that can be found at the same false alarms: by anybody, and by a matched
    # filter before the product's texture
    most: float
    linear: float
