"""What a lens does over its field: one value, a few from the middle to the end, or a file."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from linesim.setup.arrays import FloatArray
from linesim.setup.fields import Kind, Quantity
from linesim.setup.light.curve_files import read_pairs
from linesim.setup.shown import shown

PLACES = (-1.0, -0.7, 0.0, 0.7, 1.0)
"""Where five values from end to end lie, in half lines; of three, from the middle on, either half
has its own. At 0.7 the circle of the field has half its area inside."""
_HALF = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class OverField:
    """Values along the line, with a smooth curve through them."""

    # rising, about the optical axis; of the half line, or image heights [mm]
    places: tuple[float, ...]
    values: tuple[float, ...]
    relative: bool  # whether places count in half lines

    def at(self, position: FloatArray, half_mm: float) -> FloatArray:
        """Read the curve at positions from -1 to 1 along the line."""
        place = np.asarray(position) * (1.0 if self.relative else half_mm)
        return smooth_curve(np.array(self.places), np.array(self.values), place)

    @property
    def reach(self) -> float:
        """Image height that the values reach on both sides. [mm], or half lines."""
        return min(-self.places[0], self.places[-1])


def smooth_curve(x: FloatArray, y: FloatArray, at: FloatArray) -> FloatArray:
    """
    Lay a smooth curve through points that rises and falls only where they do.

    Piecewise cubic with the slopes of F. N. Fritsch and J. Butland (SIAM Journal on Scientific and
    Statistical Computing 5, 1984; from memory): the weighted harmonic mean of the neighbouring
    ones, 0 where these differ in sign. Beyond the outermost points their values go on.
    """
    step, rise = np.diff(x), np.diff(y) / np.diff(x)
    before, after = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    same = rise[1:] * rise[:-1] > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (before + after) / (before / rise[:-1] + after / rise[1:])
    ends = [_end_slope(step[:2], rise[:2]), _end_slope(step[:-3:-1], rise[:-3:-1])]
    slope = np.concatenate([ends[:1], np.where(same, mean, 0.0), ends[1:]])
    inside = np.clip(at, x[0], x[-1])
    left = np.clip(np.searchsorted(x, inside, side="right") - 1, 0, len(x) - 2)
    wide, t = step[left], (inside - x[left]) / step[left]
    near, far = slope[left] - rise[left], rise[left] - slope[left + 1]
    bent = t * (1 - t) * wide * ((1 - t) * near + t * far)
    return np.asarray(y[left] + t * wide * rise[left] + bent)


def _end_slope(step: FloatArray, rise: FloatArray) -> float:
    """Slope at an end by three points, kept from overshooting."""
    if len(step) == 1:
        return float(rise[0])
    slope = ((2 * step[0] + step[1]) * rise[0] - step[0] * rise[1]) / (step[0] + step[1])
    if slope * rise[0] <= 0:
        return 0.0
    turns = rise[0] * rise[1] <= 0
    return float(3 * rise[0] if turns and abs(slope) > 3 * abs(rise[0]) else slope)


@dataclass(frozen=True, slots=True, kw_only=True)
class OverFieldKind(Kind):
    """One value, three of them from the middle to the end, five from end to end, or a CSV file."""

    each: Kind  # of each value; a file has them in its unit
    of_middle: bool = False  # whether they are told relative to the middle, which is then 1

    def read(self, value: object, folder: Path) -> object:
        """Take the one value, the list or the file."""
        if isinstance(value, list):
            return self._from_list(value, folder)
        if isinstance(value, str) and value.lower().endswith(".csv"):
            return self._from_file(value, folder)
        return self.each.read(value, folder)

    def _from_list(self, value: list[object], folder: Path) -> OverField:
        if len(value) not in (_HALF, len(PLACES)):
            msg = f"this list has {len(value)} value{'s' * (len(value) != 1)}, not 3 or 5"
            raise ValueError(msg)
        found = [float(self.each.read(each, folder)) for each in value]  # type: ignore[arg-type]
        values = (*found[:0:-1], *found) if len(found) == _HALF else tuple(found)
        return self._checked(OverField(places=PLACES, values=values, relative=True))

    def _from_file(self, text: str, folder: Path) -> OverField:
        unit = f" in {self.each.unit}" if isinstance(self.each, Quantity) else ""
        table = read_pairs(
            folder / text,
            key="the file",
            expected=f"two columns, image height at the sensor in mm and value{unit}, parted by a "
            "comma, semicolon or tab",
            written=text,
        )
        height_mm, value = table[np.argsort(table[:, 0])].T
        if (np.diff(height_mm) <= 0).any():
            msg = f'the file "{text}" has an image height twice'
            raise ValueError(msg)
        if height_mm[0] > 0:
            msg = f'the file "{text}" starts at {height_mm[0]:g} mm, without the middle at 0'
            raise ValueError(msg)
        low, high = self.each.low, self.each.high  # type: ignore[attr-defined]
        outside = (value < low) | (value > high)
        if outside.any():
            msg = f'the file "{text}" has {value[outside][0]:g}, outside {low:g} to {high:g}{unit}'
            raise ValueError(msg)
        if height_mm[0] == 0:
            height_mm = np.concatenate([-height_mm[:0:-1], height_mm])
            value = np.concatenate([value[:0:-1], value])
        return self._checked(
            OverField(places=tuple(height_mm), values=tuple(value), relative=False)
        )

    def _checked(self, found: OverField) -> OverField:
        middle = float(found.at(np.zeros(1), 1.0)[0])
        if self.of_middle and middle != 1:
            msg = f"the middle has {middle:g}, and all is told relative to it, so that it is 1"
            raise ValueError(msg)
        return found


def value_at(
    given: float | FloatArray | OverField, position: FloatArray, half_mm: float, power: int = 0
) -> FloatArray:
    """
    Read what a key says at places along the line.

    Parameters
    ----------
    given : float, ndarray or OverField; as the setup has it
    position : ndarray; from -1 to 1 along the line
    half_mm : float; image height of its end [mm]
    power : int
        How one value alone, which is that of the end, grows from 0 in the middle.
    """
    if isinstance(given, OverField):
        return given.at(position, half_mm)
    grown = np.abs(position) ** power if power else np.ones_like(position)
    return np.asarray(given * grown)


def ends_before(name: str, given: object, half_mm: float, text: object) -> str:
    """Say where a file of values over the field does not reach the end of the line."""
    if not isinstance(given, OverField) or given.relative or given.reach >= half_mm * 0.999:
        return ""
    return (
        f"{name}: read {shown(text)}, which ends at {given.reach:g} mm of image height, but the "
        f"line reaches {half_mm:g} mm; expected values up to there"
    )
