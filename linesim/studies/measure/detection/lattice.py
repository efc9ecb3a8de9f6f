"""Discs on a lattice of places, each at its own phase to the samples, painted on good product."""

from dataclasses import dataclass

import numpy as np

from linesim.forward.reference import ArrayReference
from linesim.forward.station import Station
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.targets.coverage import disc

FINENESS = 8
"""Reference pixels across the shorter side of a sample."""
_MARGIN = 3
"""Samples of product around the blur of every defect."""
_MOST_MARGIN = 24
_AT_ONCE = 100_000
"""Pixels of discs that are worked out together: 10 MB with all that is between."""
_MOST_PIXELS = 200_000_000
_GOLDEN = (0.7548776662466927, 0.5698402909980532)
"""Steps that spread points evenly over a square: 1/p and 1/p², p³ = p + 1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lattice:
    """Cells of whole samples, one defect in each, behind some lines of product."""

    cells: tuple[int, int]  # cells along and across; lines and columns of each
    cell: tuple[int, int]
    # shape (places, 2); along and across, from the first line and column [µm]
    centres_um: FloatArray
    ahead: int  # lines of good product in front

    @property
    def lines(self) -> int:
        """Lines of the scan."""
        return self.ahead + self.cells[0] * self.cell[0]

    def each(self, image: ImageArray | FloatArray) -> FloatArray:
        """Cut an image into its cells; what is left over at the right is dropped."""
        (rows, columns), (high, wide) = self.cells, self.cell
        cut = np.asarray(image[self.ahead :, : columns * wide], dtype=np.float64)
        cells = cut.reshape(rows, high, columns, wide).swapaxes(1, 2)
        return cells.reshape(rows * columns, high, wide)


def phases_of(places: int) -> FloatArray:
    """Spread places evenly over a sample."""
    return np.asarray((np.arange(places)[:, None] * np.asarray(_GOLDEN)) % 1 - 0.5)


def lattice(
    numbers: Station, size_um: float, phases: FloatArray, *, ahead: int, reach_um: float = 0.0
) -> Lattice:
    """Lay places out, so wide apart that no blur reaches the next."""
    place, lens = numbers.geometry, numbers.optics
    sample_um = float(numbers.timing.line_advance_um), float(place.object_pixel_x_um)
    blur_um = float(np.max(8 * lens.rest_blur_um + lens.defocus_disc_um)) / float(
        lens.magnification
    )
    smear_um = float(place.object_pixel_y_um + numbers.motion_um), float(place.object_pixel_x_um)
    cell = tuple(
        int(np.ceil((size_um + blur_um + smear) / sample))
        + 2 * min(_MARGIN + int(np.ceil(reach_um / sample)), _MOST_MARGIN)
        for smear, sample in zip(smear_um, sample_um, strict=True)
    )
    cell = cell[0] + len(numbers.trail) - 1, cell[1]
    across = int(place.image_width_px) // cell[1]
    if across == 0:
        refuse(
            f"requirement.smallest_defect: read {size_um:g} um, whose surroundings take {cell[1]} "
            f"samples across, but the image has {int(place.image_width_px)}; expected a smaller "
            "defect or more camera.pixels"
        )
    down = -(-len(phases) // across)
    row, column = np.divmod(np.arange(down * across), across)
    corner = np.stack([ahead + row * cell[0], column * cell[1]], axis=1)
    own = phases[np.arange(down * across) % len(phases)]
    centres = (corner + np.asarray(cell) / 2 + own) * np.asarray(sample_um)
    return Lattice(cells=(down, across), cell=(cell[0], cell[1]), centres_um=centres, ahead=ahead)


def painted(numbers: Station, places: Lattice, size_um: float, contrast: float) -> ArrayReference:
    """Draw a dark disc at every place of a product of reflectance 1, exact over each pixel."""
    place = numbers.geometry
    sample_um = float(numbers.timing.line_advance_um), float(place.object_pixel_x_um)
    pitch_um = min(sample_um) / FINENESS
    shape = (
        int(np.ceil(places.lines * sample_um[0] / pitch_um)),
        2 * int(np.ceil(int(place.image_width_px) * sample_um[1] / pitch_um / 2)),
    )
    if shape[0] * shape[1] > _MOST_PIXELS:
        refuse(
            f"requirement.smallest_defect: read {size_um:g} um; its places take {shape[0]} x "
            f"{shape[1]} reference pixels, expected at most {_MOST_PIXELS}: a smaller "
            "defect, fewer places, or fewer camera.pixels"
        )
    if contrast == 0:
        return ArrayReference(data=np.broadcast_to(np.float32(1), shape), pixel_size_um=pitch_um)
    data = np.ones(shape, dtype=np.float32)
    # the reference lies centred across on the optical axis
    shift_px = shape[1] / 2 - int(place.image_width_px) * sample_um[1] / pitch_um / 2
    centres_px = places.centres_um / pitch_um + np.array([0.0, shift_px])
    _lay_discs(data, centres_px, size_um / pitch_um / 2, contrast)
    return ArrayReference(data=data, pixel_size_um=pitch_um)


def _lay_discs(data: ImageArray, centres_px: FloatArray, radius_px: float, contrast: float) -> None:
    """Darken an image by equal discs that lie inside it; many at once, for most are small."""
    corners = np.floor(centres_px - radius_px).astype(np.int64)
    window = np.arange(int(np.ceil(2 * radius_px)) + 2)
    at_once = max(1, _AT_ONCE // window.size**2)
    for first in range(0, len(corners), at_once):
        some = corners[first : first + at_once]
        sides = some[:, :, None] + window - centres_px[first : first + at_once, :, None]
        covered = disc(sides[:, 1, None, :], sides[:, 0, :, None], radius_px)
        for (top, left), share in zip(some, contrast * covered, strict=True):
            data[top : top + window.size, left : left + window.size] -= share


def textured(clean: ArrayReference, texture: Texture, seed: int) -> ArrayReference:
    """Lay a drawn texture over a target."""
    rows, columns = clean.shape[:2]
    pitch_um = clean.pixel_size_um
    along = np.asarray(1000 * np.fft.fftfreq(rows, pitch_um), np.float64)[:, None]
    across = np.asarray(1000 * np.fft.rfftfreq(columns, pitch_um), np.float64)[None, :]
    power = texture.power(across, along) / pitch_um**2
    white = np.random.default_rng(seed).standard_normal((rows, columns))
    field = np.fft.irfft2(np.fft.rfft2(white) * np.sqrt(power), s=(rows, columns))
    return ArrayReference(
        data=np.maximum(clean.data * (1 + field), 0).astype(np.float32), pixel_size_um=pitch_um
    )
