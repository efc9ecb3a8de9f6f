"""
Many setups along a range, each checked, without reading a text for each.

`changed` reads all of a file anew, some milliseconds a point. Here the first and the last corner go
through it; a point between them is the first with the numbers of its place put in. Each number is
legal by itself (see `linesim.studies.batch.ranges`). What keys demand of one another may fail in
the middle of a range though both ends are fine, so the same relations that the door
checks are checked at every point. Where one is broken, the point goes through the door after all,
which says why.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

from linesim.forward.geometry import geometry, timing
from linesim.setup.errors import InputError
from linesim.setup.light.spectra import Spectrum
from linesim.setup.light.sums import Curve
from linesim.setup.load import changed
from linesim.setup.relations import broken_relations
from linesim.setup.setup import Setup
from linesim.studies.batch.ranges import Range

Place = tuple[float, ...]
"""One value of each range, in the door's unit."""
_SETTLED = frozenset({"target.image"})
"""No number of a range changes which image it is: not looked up again for every point."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """
    A setup along ranges; `walk` makes it.

    Parameters
    ----------
    setup : Setup
        What stays.
    leader : Setup or None
        Whose exposure time it takes at every point; ``None`` leaves it its own.
    ranges : tuple of Range
        What changes.
    """

    setup: Setup
    leader: Setup | None
    ranges: tuple[Range, ...]

    @property
    def places(self) -> list[Place]:
        """All combinations, the last range running fastest."""
        return list(product(*(each.base_values for each in self.ranges)))

    @property
    def ends(self) -> list[Setup]:
        """The first and the last point."""
        places = self.places
        return list(self.points((places[0], places[-1])))

    def at(self, place: Place) -> Setup:
        """
        Give one point through the door.

        Parameters
        ----------
        place : tuple of float
            In the door's units.

        Returns
        -------
        Setup
            Checked as `changed` does, with texts of its own.

        Raises
        ------
        InputError
            Where it is no valid setup.
        """
        pairs = zip(self.ranges, place, strict=True)
        written = {each.key.dotted: each.written(value) for each, value in pairs}
        found = changed(self.setup, written)
        if self.leader is None:
            return found
        lead = changed(self.leader, written)
        return changed(found, {"acquisition.exposure": f"{_exposure_us(lead)!r} us"})

    def points(self, places: Iterable[Place]) -> Iterator[Setup]:
        """
        Give points quickly.

        Parameters
        ----------
        places : iterable of tuple
            In the door's units.

        Yields
        ------
        Setup
            Checked; its texts are not its own.

        Raises
        ------
        InputError
            Where a point is no valid setup.
        """
        for place in places:
            point = self._moved(self.setup, place)
            if self.leader is not None:
                exposure_us = _exposure_us(self._moved(self.leader, place))
                point = _with(point, "acquisition", {"exposure": exposure_us})
            broken = next(broken_relations(point, _SETTLED), None)
            yield point if broken is None else self.at(place)

    def _moved(self, setup: Setup, place: Place) -> Setup:
        for each, value in zip(self.ranges, place, strict=True):
            setup = _with(setup, each.key.section, {each.key.field: each.inside(value)})
        return setup


def walk(setup: Setup, leader: Setup | None, ranges: tuple[Range, ...]) -> Walk:
    """
    Lay a setup along ranges, its first and last corner through the door.

    Parameters
    ----------
    setup : Setup
        What stays.
    leader : Setup or None
        Whose exposure time it takes at every point; ``None`` leaves it its own.
    ranges : tuple of Range
        What changes.

    Returns
    -------
    Walk
        Ready.

    Raises
    ------
    InputError
        Where a corner is no valid setup.
    """
    first, last = (
        {each.key.dotted: each.written(each.base_values[end]) for each in ranges} for end in (0, -1)
    )
    changed(setup, last)
    begun = _same_light(changed(setup, first))
    lead = None if leader is None else changed(leader, first)
    return Walk(setup=begun, leader=lead, ranges=ranges)


def _with(setup: Setup, section: str, values: dict[str, object]) -> Setup:
    """Put values behind the door into one section."""
    changed_section = getattr(setup.sections, section).model_copy(update=values)
    sections = setup.sections.model_copy(update={section: changed_section})
    return replace(setup, sections=sections)


def _exposure_us(setup: Setup) -> float:
    exposure_us = float(timing(setup, geometry(setup)).exposure_us)
    if exposure_us > 0:
        return exposure_us
    msg = (
        f"camera.dead_time: read {setup.camera.dead_time_us:g} us, but the line period of the "
        "first variant leaves no time to expose; expected a shorter dead time or a slower line"
    )
    raise InputError(msg)


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
    return _with(setup, "light", {"spectrum": shared})
