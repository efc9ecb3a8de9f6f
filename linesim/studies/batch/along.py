"""
A setup along ranges of its keys: a space whose options need no text of their own.

`changed` reads all of a file anew, some milliseconds an option. Here the first and the last corner
go through it; an option between them is the first with its own numbers put in. Each number is
legal by itself (see `linesim.studies.batch.ranges`). What keys demand of one another may fail in
the middle of a range though both ends are fine, so the relations that a file is checked for are
checked for every value that they ask. Where one is broken, the option is read as a file after
all, which says why.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

from linesim.setup.light.spectra import Spectrum
from linesim.setup.light.sums import Curve
from linesim.setup.load import changed
from linesim.setup.relations import broken_relations
from linesim.setup.setup import Setup
from linesim.setup.sheet.notes import hung_on
from linesim.studies.batch.axis_texts import displaced
from linesim.studies.batch.ranges import Range
from linesim.studies.batch.space import (
    Axis,
    Point,
    Space,
    asked_by_face,
    changes_of,
    is_free,
    with_values,
)
from linesim.studies.batch.stations import exposure_us_of

Place = tuple[float, ...]
"""One value of each range, in the unit of a checked setup."""
_SETTLED = frozenset({"target.image"})
"""No number of a range changes which image it is: not searched again for every option."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Along(Space):
    """A setup along ranges, made by `along`; its base stands at the first corner."""

    lead: Setup | None  # whose exposure time every option takes; None leaves it its own
    ranges: tuple[Range, ...]  # what changes, one an axis
    values: Sequence[Sequence[float]]  # of each range, in the unit of a checked setup

    @property
    def places(self) -> list[Place]:
        """All combinations, the last range running fastest."""
        return list(product(*self.values))

    @property
    def ends(self) -> tuple[Setup, Setup]:
        """The first and the last option."""
        return self.quick(0), self.quick(self.count - 1)

    def at(self, values: Sequence[Sequence[float]]) -> "Along":
        """Give the same setup at other values of its ranges."""
        pairs = zip(self.ranges, values, strict=True)
        asked = asked_by_face(self.base, [each.key.dotted for each in self.ranges])
        asked |= hung_on(self.base)
        axes = tuple(_axis(self.base, asked, *pair) for pair in pairs)
        return replace(self, axes=axes, values=values)

    def begun(self, points: Sequence[Point]) -> tuple[Setup, Setup | None]:
        """Put in what is no number of an array, and check what keys demand of one another."""
        if self._hangs:  # what follows from these numbers is worked out with each
            lead = None if self.lead is None else changed(self.lead, changes_of(points))
            return changed(self.base, changes_of(points)), lead
        found = self._moved(self.base, points)
        if next(broken_relations(found, _SETTLED), None) is not None:
            found = changed(self.base, changes_of(points))
        return found, None if self.lead is None else self._moved(self.lead, points)

    def setup(self, index: int) -> Setup:
        """Give one option as a setup, checked as a file is, with texts of its own."""
        written = changes_of(self.option(index))
        found = changed(self.base, written)
        if self.lead is None:
            return found
        exposure_us = float(exposure_us_of(changed(self.lead, written)))
        return changed(found, {"acquisition.exposure": f"{exposure_us!r} us"})

    def quick(self, index: int) -> Setup:
        """Give one option as a setup whose texts are not its own."""
        points = self.option(index)
        setup, lead = self.begun(points)
        setup = self._moved(setup, points, numbers=True)
        if lead is None:
            return setup
        exposure_us = exposure_us_of(self._moved(lead, points, numbers=True))
        return with_values(setup, "acquisition", {"exposure": float(exposure_us)})

    @property
    def _hangs(self) -> bool:
        """Whether other figures of a data sheet hang on one that changes."""
        return not hung_on(self.base).isdisjoint(each.key.dotted for each in self.ranges)

    def _moved(self, setup: Setup, points: Sequence[Point], *, numbers: bool = False) -> Setup:
        for each, point in zip(self.ranges, points, strict=True):
            value = point.number if numbers else point.inside
            if value is not None:
                setup = with_values(setup, each.key.section, {each.key.field: value})
        return setup


def along(setup: Setup, lead: Setup | None, ranges: tuple[Range, ...]) -> Along:
    """Lay a setup along ranges, at another's exposure time or its own; its corners are checked."""
    gone = displaced(setup, [each.key.dotted for each in ranges])
    first, last = (
        {**gone, **{each.key.dotted: each.written(each.base_values[end]) for each in ranges}}
        for end in (0, -1)
    )
    changed(setup, last)
    begun = _same_light(changed(setup, first))
    bare = Along(
        base=begun,
        lead=None if lead is None else changed(lead, first),
        axes=(),
        ranges=ranges,
        values=(),
    )
    return bare.at([each.base_values for each in ranges])


def _axis(setup: Setup, asked: frozenset[str], over: Range, values: Sequence[float]) -> Axis:
    key = over.key.dotted
    free = is_free(key, (setup.transport.trigger,), asked)
    return Axis(
        name=key,
        points=tuple(
            Point(
                label="",
                changes={key: over.written(value)},
                number=float(value) if free else None,
                inside=None if free else over.inside(value),
            )
            for value in values
        ),
    )


class _OneLight(Spectrum):
    """A light whose sums over the wavelength are worked out once, not at every point."""

    @cached_property
    def visible_share(self) -> float:
        """Power weighted by V(λ)."""
        return super().visible_share

    @cached_property
    def photon_mean_wavelength_nm(self) -> float:
        """Mean by photon number. [nm]."""
        return super().photon_mean_wavelength_nm

    def electrons_per_joule(self, qe: float | Curve) -> float:
        """Electrons freed by a joule. [1/J]."""
        known = qe if isinstance(qe, float) else (qe[0].tobytes(), qe[1].tobytes())
        if known not in self._counted:
            self._counted[known] = super().electrons_per_joule(qe)
        return self._counted[known]

    @cached_property
    def _counted(self) -> dict[object, float]:
        return {}


def _same_light(setup: Setup) -> Setup:
    """No number of a range changes the spectrum: all points share one."""
    light = setup.light.spectrum
    shared = _OneLight(
        name=light.name, wavelength_nm=light.wavelength_nm, weight_per_nm=light.weight_per_nm
    )
    return with_values(setup, "light", {"spectrum": shared})
