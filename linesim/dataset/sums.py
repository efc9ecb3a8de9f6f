"""What a set holds, in numbers, for the card: gathered record by record."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from linesim.dataset.able import CLIPPING, cannot_run
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.record import Record

_BAR = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """Counts over all images."""

    images: Counter[str] = field(default_factory=Counter)
    good: Counter[str] = field(default_factory=Counter)
    labels: Counter[tuple[str, str]] = field(default_factory=Counter)
    visible: Counter[tuple[str, str]] = field(default_factory=Counter)
    unlabelled: Counter[str] = field(default_factory=Counter)
    scenes: Mapping[str, set[int]] = field(default_factory=lambda: {name: set() for name in SPLITS})
    sizes: Counter[tuple[int, int]] = field(default_factory=Counter)
    laws: Counter[tuple[float, float, int]] = field(default_factory=Counter)
    short: Counter[str] = field(default_factory=Counter)
    stuck: Counter[str] = field(default_factory=Counter)
    clipped: Counter[str] = field(default_factory=Counter)
    rendered_on: Counter[tuple[str, str]] = field(default_factory=Counter)
    octaves: Mapping[str, Counter[int]] = field(
        default_factory=lambda: {"dprime": Counter(), "area_px": Counter()}
    )


def sums(images: Iterable[Record]) -> Sums:
    """Count."""
    found = Sums()
    for image in images:
        split = image["split"]
        found.images[split] += 1
        found.good[split] += not image["faults"]
        found.scenes[split].add(image["scene_number"])
        found.sizes[image["width"], image["height"]] += 1
        if "image_bits" in image:
            found.laws[image["black_dn"], image["white_dn"], image["image_bits"]] += 1
        found.short[split] += bool(image["left_out"])
        found.stuck[split] += cannot_run(image["states"])
        found.clipped[split] += image["states"][CLIPPING] != "met"
        if "rendered_on" in image:
            found.rendered_on[image["rendered_on"]["device"], image["rendered_on"]["torch"]] += 1
        for fault in image["faults"]:
            _count(found, split, fault)
    return found


def _count(found: Sums, split: str, fault: Record) -> None:
    kind = fault["kind"]
    if not fault["labelled"]:
        found.unlabelled[kind] += 1
        return
    found.labels[kind, split] += 1
    found.visible[kind, split] += fault["visible"]
    for name, counter in found.octaves.items():
        # the power of two below: 0 for 1 up to 2, and -1 for all below 1
        counter[int(fault[name]).bit_length() - 1 if fault[name] >= 1 else -1] += 1


def bars(counter: Counter[int]) -> list[str]:
    """Draw a histogram over powers of two, as text."""
    if not counter:
        return ["(none)"]
    most = max(counter.values())
    lines = []
    for octave in range(min(counter), max(counter) + 1):
        count = counter[octave]
        name = f"{2**octave} to {2 ** (octave + 1)}" if octave >= 0 else "below 1"
        bar = "#" * -(-_BAR * count // most)
        lines.append(f"{name:>16} | {bar:<{_BAR}} {count}")
    return lines
