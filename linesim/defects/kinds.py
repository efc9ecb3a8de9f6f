"""The kinds of fault by name: class number, what it is, and how to make one."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from inspect import Parameter, signature
from typing import Protocol

from linesim.defects.fault import Fault
from linesim.defects.line_faults import Crease, Scratch, Streak
from linesim.defects.patch_faults import ColourShift, MissingPrint, Stain, TextureFault
from linesim.defects.pose import Pose
from linesim.defects.raised import Bump, Dent, Groove
from linesim.defects.round_faults import Agglomerate, Hole, Pinhole, Spot
from linesim.setup.errors import InputError, refuse

Value = float | int | tuple[float, ...]
"""Of one parameter of a fault."""


class Recipe(Protocol):
    """The numbers of a fault without its place."""

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of fault."""

    name: str  # as data sets and people call it
    class_id: int  # its number in labels; never given to another kind
    sentence: str  # what it is, in one sentence
    make: Callable[..., Recipe]  # takes the numbers of `parameters` by name
    identity: str = ""  # of a kind of the user's own: a digest of all that makes it

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the numbers that make one, in order."""
        return tuple(_parameters(self.make))


KINDS = tuple(
    Kind(name=name, class_id=class_id, sentence=sentence, make=make)
    for class_id, name, make, sentence in (
        (0, "pinhole", Pinhole, "A small sharp disc, bright or dark."),
        (1, "spot", Spot, "An irregular blot with a sharp rim."),
        (2, "agglomerate", Agglomerate, "A lump of several grains, perhaps with a halo."),
        (3, "scratch", Scratch, "A thin stroke, slightly bent, that ends in points."),
        (4, "streak", Streak, "A soft line along travel that fades on all sides."),
        (5, "stain", Stain, "A patch with a soft rim."),
        (
            6,
            "missing print",
            MissingPrint,
            "A patch where print or coating is missing and the ground shows.",
        ),
        (7, "colour shift", ColourShift, "A patch whose channels are off by a factor each."),
        (8, "crease", Crease, "A thin bright line and a dark one side by side."),
        (9, "hole", Hole, "A dark hole with a bright rim."),
        (
            10,
            "texture fault",
            TextureFault,
            "A patch whose texture is rougher or smoother, at the same mean.",
        ),
        (11, "dent", Dent, "A round bowl without an edge."),
        (12, "bump", Bump, "A round hill without an edge."),
        (13, "groove", Groove, "A scratch with slopes."),
    )
)
"""All kinds, in the order of their class numbers."""
RELIEF = ("dent", "bump", "groove")
"""Those that have relief alone: a lamp shows them, a colour does not."""
FIRST_OWN = 32
"""Class number of the first kind of a user's own; those below are kept for `KINDS`."""


def kind_named(name: str) -> Kind:
    """Find a kind of fault."""
    by_name = {kind.name: kind for kind in KINDS}
    if name not in by_name:
        near = get_close_matches(name.lower(), by_name, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"expected one of {', '.join(by_name)}"
        refuse(f'kind of fault: read "{name}", which is none; {hint}')
    return by_name[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A fault as plain numbers, to be written down and made again."""

    kind: str
    pose: Pose
    # numbers of the kind's parameters by name; what is left out takes its default
    values: Mapping[str, Value] = field(default_factory=dict)
    own: Kind | None = None  # the kind itself, where it is not one of `KINDS`

    @property
    def which(self) -> Kind:
        """The kind itself."""
        return self.own or kind_named(self.kind)

    def fault(self) -> Fault:
        """Make it."""
        need_parameters(self.which, self.values)
        return self.which.make(**self.values).at(self.pose)


@cache
def _parameters(make: Callable[..., Recipe]) -> Mapping[str, Parameter]:
    """Read what makes a fault: for each of many faults of one kind the same."""
    return signature(make).parameters


def need_parameters(kind: Kind, given: Mapping[str, object]) -> None:
    """Refuse parameters that a kind has not, and the lack of those that it needs."""
    known = _parameters(kind.make)
    faults = [
        f"{kind.name}: read {name}, which it has not; expected one of {', '.join(known)}"
        for name in given
        if name not in known
    ]
    faults += [
        f"{kind.name}: read no {name}, expected a number"
        for name in known
        if known[name].default is known[name].empty and name not in given
    ]
    if faults:
        raise InputError(*faults)
