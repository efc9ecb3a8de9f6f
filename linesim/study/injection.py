"""
Detection measured: many defects put on a white target, rendered, and searched by matched filter.

Each place of a lattice holds one disc, at its own phase to the pixels; phases are spread evenly.
The filter's template is the defect's own signal without noise, so the place is known: what is
measured is the separation of its output with and without a defect, and the area under the ROC
curve.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linesim.budget.detection import search
from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import Station, station
from linesim.metrics.detection import dprime
from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.targets.coverage import disc

FINENESS = 8
"""Reference pixels across the shorter side of a sample."""
PLACES = 1000
"""Of the defect on the pixel grid."""
_MARGIN = 3
"""Samples of white around the blur of every defect."""
_AT_ONCE = 100_000
"""Pixels of discs that are worked out together: 10 MB with all that is between."""
_MOST_PIXELS = 100_000_000
_GOLDEN = (0.7548776662466927, 0.5698402909980532)
"""Steps that spread points evenly over a square: 1/p and 1/p², p³ = p + 1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Injection:
    """
    What the matched filter gives with defects and without.

    Parameters
    ----------
    with_defect, without : ndarray of shape (n,)
        Outputs of the filter, in standard deviations that the closed form gives its noise.
    each_dprime : ndarray of shape (places,)
        Detectability at each place, from its noise-free signal.
    closed_dprime : float
        Detectability by the closed form, for all places.
    """

    with_defect: FloatArray
    without: FloatArray
    each_dprime: FloatArray
    closed_dprime: float

    @property
    def roc_area(self) -> float:
        """Area under the ROC curve: the share of pairs that are in the right order."""
        from scipy.stats import rankdata  # noqa: PLC0415 -- not needed for --help

        n, m = len(self.with_defect), len(self.without)
        ranks = rankdata(np.concatenate([self.with_defect, self.without]))[:n]
        return float((ranks.sum() - n * (n + 1) / 2) / (n * m))

    @property
    def roc_area_sd(self) -> float:
        """Standard error of the area (Hanley and McNeil 1982, for rating that is Gaussian)."""
        area, n, m = self.roc_area, len(self.with_defect), len(self.without)
        both = area / (2 - area) - area**2
        one = 2 * area**2 / (1 + area) - area**2
        spread = area * (1 - area) + (n - 1) * both + (m - 1) * one
        return float(np.sqrt(spread / (n * m)))

    @property
    def expected_roc_area(self) -> float:
        """Mean of Φ(d'/√2) over the places."""
        from scipy.special import ndtr  # noqa: PLC0415 -- not needed for --help

        return float(ndtr(self.each_dprime / np.sqrt(2)).mean())

    @property
    def dprime(self) -> float:
        """Measured separation, over the spread measured with and without."""
        spread = (self.with_defect.var(ddof=1) + self.without.var(ddof=1)) / 2
        # places of unlike d' widen the outputs with a defect by just as much
        spread -= self.each_dprime.var() / 2
        return float((self.with_defect.mean() - self.without.mean()) / np.sqrt(spread))

    @property
    def dprime_sd(self) -> float:
        """Its standard error: of both means, and of the spread."""
        n, m = len(self.with_defect), len(self.without)
        return float(np.sqrt(1 / n + 1 / m + self.dprime**2 / (2 * (n + m))))

    def rates(self, thresholds: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Shares of false alarms and of defects found at some thresholds: the ROC curve."""
        found = np.sort(self.with_defect), np.sort(self.without)
        hit, false = (1 - np.searchsorted(each, thresholds) / len(each) for each in found)
        return false, hit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lattice:
    """Cells of whole samples, one defect in each."""

    cells: tuple[int, int]
    cell: tuple[int, int]
    centres_um: FloatArray

    @property
    def lines(self) -> int:
        """Lines of the scan."""
        return self.cells[0] * self.cell[0]

    def each(self, image: ImageArray | FloatArray) -> FloatArray:
        """Cut an image into its cells; what is left over at the right is dropped."""
        (rows, columns), (high, wide) = self.cells, self.cell
        cut = np.asarray(image[:, : columns * wide], dtype=np.float64)
        cells = cut.reshape(rows, high, columns, wide).swapaxes(1, 2)
        return cells.reshape(rows * columns, high, wide)


def _lattice(numbers: Station, size_um: float, places: int) -> _Lattice:
    """Lay places out, so wide apart that no blur reaches the next; phases to samples are even."""
    place, lens = numbers.geometry, numbers.optics
    sample_um = float(numbers.timing.line_advance_um), float(place.object_pixel_x_um)
    blur_um = float(8 * lens.blur_um + lens.defocus_disc_um) / float(lens.magnification)
    smear_um = float(place.object_pixel_y_um + numbers.motion_um), float(place.object_pixel_x_um)
    cell = tuple(
        int(np.ceil((size_um + blur_um + smear) / sample)) + 2 * _MARGIN
        for smear, sample in zip(smear_um, sample_um, strict=True)
    )
    across = int(place.image_width_px) // cell[1]
    if across == 0:
        msg = (
            f"requirement.smallest_defect: read {size_um:g} um, whose surroundings take {cell[1]} "
            f"samples across, but the image has {int(place.image_width_px)}; expected a smaller "
            "defect or more camera.pixels"
        )
        raise InputError(msg)
    down = -(-places // across)
    row, column = np.divmod(np.arange(down * across), across)
    phase = (np.arange(down * across)[:, None] * np.asarray(_GOLDEN)) % 1 - 0.5
    corner = np.stack([row * cell[0], column * cell[1]], axis=1)
    centres = (corner + np.asarray(cell) / 2 + phase) * np.asarray(sample_um)
    return _Lattice(cells=(down, across), cell=(cell[0], cell[1]), centres_um=centres)


def _painted(
    numbers: Station, lattice: _Lattice, size_um: float, contrast: float
) -> ArrayReference:
    """Draw a dark disc at every place on white, exact over each reference pixel."""
    place = numbers.geometry
    sample_um = float(numbers.timing.line_advance_um), float(place.object_pixel_x_um)
    pitch_um = min(sample_um) / FINENESS
    shape = (
        int(np.ceil(lattice.lines * sample_um[0] / pitch_um)),
        2 * int(np.ceil(int(place.image_width_px) * sample_um[1] / pitch_um / 2)),
    )
    if shape[0] * shape[1] > _MOST_PIXELS:
        msg = (
            f"requirement.smallest_defect: read {size_um:g} um; its places take {shape[0]} x "
            f"{shape[1]} reference pixels, expected at most {_MOST_PIXELS}: a smaller "
            "defect, fewer places, or fewer camera.pixels"
        )
        raise InputError(msg)
    data = np.ones(shape, dtype=np.float32)
    # the reference lies centred across on the optical axis
    shift_px = shape[1] / 2 - int(place.image_width_px) * sample_um[1] / pitch_um / 2
    centres_px = lattice.centres_um / pitch_um + np.array([0.0, shift_px])
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


def _electrons(numbers: Station, image_dn: NDArray[np.uint16]) -> FloatArray:
    """Bring delivered numbers back to signal electrons. [e]."""
    gain = float(numbers.dn_per_e * numbers.balance)
    black_dn = float(numbers.sensor.black_level_dn)
    dark_e = float(numbers.delivered_dark_e)
    return np.asarray((image_dn - black_dn) / gain - dark_e, dtype=np.float64)


def _noise_e(numbers: Station, white_e: FloatArray, template_e: FloatArray) -> FloatArray:
    """Spread of the filter's output at each place: of samples, and of whole columns. [e²]."""
    noise_e2, streaks_e2 = numbers.noise_e(white_e) ** 2, numbers.pattern_e(white_e) ** 2
    of_samples = (noise_e2 * template_e**2).sum(axis=(1, 2))
    of_columns = (np.mean(streaks_e2, axis=1) * template_e.sum(axis=1) ** 2).sum(axis=1)
    return np.asarray(np.sqrt(of_samples + of_columns), dtype=np.float64)


def inject(
    setup: Setup,
    count: int,
    seed: int = 0,
    *,
    places: int = PLACES,
    workers: int | None = None,
) -> Injection:
    """
    Put many of a setup's smallest defects on white, render, and run the matched filter.

    Parameters
    ----------
    setup : Setup
        A monochrome station whose requirement names a round smallest defect.
    count : int
        Outputs with a defect, at least; as many without.
    seed : int
        Of the noise; each round has a camera with a fixed pattern of its own.
    places : int
        Of the defect on the pixel grid, at least.
    workers : int, optional
        Threads; they change no byte.

    Returns
    -------
    Injection
        Outputs of the filter.

    Raises
    ------
    InputError
        Where the setup has no such defect, or it does not fit.
    """
    size_um, wanted = _defect_um(setup), search(setup)
    numbers = station(setup)
    lattice = _lattice(numbers, size_um, places)
    targets = (
        _painted(numbers, lattice, size_um, float(wanted.contrast)),
        ArrayReference(data=np.ones((1, 1), dtype=np.float32), pixel_size_um=size_um),
    )
    dark_e, white_e = (
        lattice.each(render(setup, target, lattice.lines, seed, workers=workers).expected_e)
        for target in targets
    )
    template_e = white_e - dark_e
    spread_e2 = _noise_e(numbers, white_e, template_e)
    each = np.einsum("kij,kij->k", template_e, template_e) / spread_e2
    rounds = -(-count // len(template_e))
    found: list[list[FloatArray]] = [[], []]
    for index in range(2 * rounds):
        # both sides share each camera, so that its streaks shift neither against the other
        camera = {"camera.pattern_seed": setup.camera.pattern_seed + index // 2}
        target = targets[index % 2]
        varied, own = changed(setup, camera), seed + 1 + index
        image = render(varied, target, lattice.lines, own, workers=workers).image
        left_e = white_e - lattice.each(_electrons(numbers, image))
        found[index % 2].append(np.einsum("kij,kij->k", template_e, left_e) / spread_e2)
    return Injection(
        with_defect=np.concatenate(found[0]),
        without=np.concatenate(found[1]),
        each_dprime=each,
        closed_dprime=float(dprime(numbers, wanted.of_width(size_um), wanted.contrast)),
    )


def _defect_um(setup: Setup) -> float:
    need = setup.requirement
    if setup.camera.kind != "mono":
        msg = f'camera.kind: read "{setup.camera.kind}"; expected "mono" to inject defects'
        raise InputError(msg)
    if need.smallest_defect_um is None or need.defect_shape != "disc":
        msg = (
            f'requirement.smallest_defect: read {need.smallest_defect_um} um, "{need.defect_shape}"'
            '; expected a size such as "300 um" and the shape "disc" to inject defects'
        )
        raise InputError(msg)
    return need.smallest_defect_um
