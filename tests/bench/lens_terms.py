"""
Measure what the short sum of separable lens terms gets wrong, in the transfer and in a picture.

``python -m tests.bench.lens_terms`` prints the tables of ``linesim/forward/README.md`` in half a
minute. Transfers are those of the lens alone, on a grid ten times as fine as the period's own
frequencies. The picture is a bright dot of a quarter of an object pixel, sampled by linesim's own
tables (footprints, tiles, float32), against a discrete convolution with the full two-dimensional
spread, worked out here by a Fourier sum of the lens's transfer.
"""

import sys
from dataclasses import replace

import numpy as np
from scipy.signal import fftconvolve

from linesim.forward.lens import Optics, optics
from linesim.forward.reference import ArrayReference
from linesim.forward.sampling.across import AcrossPlan, across_tiles
from linesim.forward.sampling.sampler import Sampler
from linesim.forward.sampling.zones import Sides, Zone
from linesim.forward.spread import PERIOD_WAVES, LensSpread, Spread, footprint, lens_spread
from linesim.forward.station import station
from linesim.forward.transport import line_table
from linesim.setup.arrays import FloatArray
from linesim.setup.load import setup_from
from linesim.setup.setup import Setup

TERMS = (1, 2, 3, 4, 6)
SETUPS: tuple[tuple[str, float, float, float, float], ...] = (
    ("f/2.8, 7.5 µm", 2.8, 7.5, 0.0, 0.0),
    ("f/4, 7.5 µm", 4.0, 7.5, 0.0, 0.0),
    ("f/8, 7.5 µm", 8.0, 7.5, 0.0, 0.0),
    ("f/16, 7.5 µm", 16.0, 7.5, 0.0, 0.0),
    ("f/2.8, 3.5 µm", 2.8, 3.5, 0.0, 0.0),
    ("f/4, 3.5 µm", 4.0, 3.5, 0.0, 0.0),
    ("f/8, 3.5 µm", 8.0, 3.5, 0.0, 0.0),
    ("f/16, 3.5 µm", 16.0, 3.5, 0.0, 0.0),
    ("f/4, 7.5 µm, blur 2 µm", 4.0, 7.5, 2.0, 0.0),
    ("f/4, 7.5 µm, blur 5 µm", 4.0, 7.5, 5.0, 0.0),
    ("f/4, 7.5 µm, disc 7.5 µm", 4.0, 7.5, 0.0, 7.5),
    ("f/4, 7.5 µm, disc 15 µm", 4.0, 7.5, 0.0, 15.0),
    ("f/4, 7.5 µm, disc 30 µm", 4.0, 7.5, 0.0, 30.0),
)
"""Label, f-number, pixel [µm], blur [µm], defocus disc at the sensor [µm]; m = 0.1, LED-B3."""

MAGNIFICATION = 0.1
PIXELS = 41
DOT_PARTS = 4
"""Reference pixels in an object pixel; the dot is one of them."""
CELLS = 3
"""Cells of the exact sum in a reference pixel."""
PERIOD_PX = 160
"""Period of the exact sum, in object pixels."""


def setup_of(f_number: float, pixel_um: float, blur_um: float, disc_um: float) -> Setup:
    """Make a camera at rest (an exposure of 1 ns) in front of 41 x 41 object pixels."""
    defocus_mm = disc_um * f_number * (1 + MAGNIFICATION) / MAGNIFICATION**2 / 1000
    return setup_from(
        {
            "title": "A dot",
            "target": {
                "image": "flat",
                "pixel_size": f"{pixel_um / MAGNIFICATION / DOT_PARTS} um",
                "white_reflectance": 1.0,
            },
            "transport": {"speed": "60 m/min"},
            "lens": {
                "magnification": MAGNIFICATION,
                "f_number": f_number,
                "blur": f"{blur_um} um",
                "defocus": f"{defocus_mm} mm",
            },
            "light": {"illuminance": "40 klx"},
            "camera": {"pixels": PIXELS, "pixel_width": f"{pixel_um} um"},
            "acquisition": {"exposure": "0.001 us", "lines": PIXELS},
        }
    )


def first_terms(spread: LensSpread, count: int) -> LensSpread:
    """Keep the strongest terms."""
    return replace(spread, terms=spread.terms[:count], weights=spread.weights[:count])


def transfer(spread: Spread, frequency: FloatArray) -> FloatArray:
    """Fourier transform of one term, which is zero outside its period: a sum of sinc. [1/µm]."""
    index = np.arange(len(spread.amplitude))
    place = np.multiply.outer(frequency * spread.period_um, np.ones(len(index)))
    both = np.sinc(place - index) + np.where(index > 0, np.sinc(place + index), 0.0)
    return np.asarray(both @ spread.amplitude)


def fine_frequencies(spread: LensSpread, last: float) -> FloatArray:
    """Frequencies from 0 to ``last``, ten to a step of the table. [1/µm on the target]."""
    count = int(np.ceil(10 * last * spread.terms[0].period_um)) + 1
    return np.linspace(0, last, min(count, 400))


def transfer_errors(lens: Optics, pixel_um: float) -> list[float]:
    """Give the largest error on the axes, then between them for each number of terms."""
    object_um = pixel_um / MAGNIFICATION
    spread = lens_spread(lens, object_um, 0.0)
    nyquist = 0.5 / object_um
    frequency = fine_frequencies(spread, nyquist)
    per_mm = 1000 / MAGNIFICATION
    tables = [transfer(term, frequency) for term in spread.terms]
    true = lens.mtf(np.hypot(frequency[:, None], frequency) * per_mm)
    lacking = true - np.outer(tables[0], tables[0])
    found = [float(np.abs(lacking[0]).max())]
    for count in range(1, len(tables) + 1):
        if count > 1:
            lacking -= spread.weights[count - 1] * np.outer(tables[count - 1], tables[count - 1])
        if count in TERMS:
            found.append(float(np.abs(lacking).max()))
    return found


def exact_dot(lens: Optics, pixel_um: float) -> FloatArray:
    """
    See the dot through the full two-dimensional spread: shares of its light in each object pixel.

    A cell of the spread is its mean over a cell of the dot and a cell of the pixel, so that both
    sums over cells are exact area integrals.
    """
    cells = DOT_PARTS * CELLS
    size, cell_um = PERIOD_PX * cells, pixel_um / cells
    across, along = np.fft.rfftfreq(size, cell_um), np.fft.fftfreq(size, cell_um)
    both = np.sinc(across * cell_um) ** 2 * (np.sinc(along * cell_um) ** 2)[:, None]
    spread = np.fft.irfft2(lens.mtf(np.hypot(across, along[:, None]) * 1000) * both, (size, size))
    spread = np.fft.fftshift(spread)
    dot = np.full((CELLS, CELLS), 1 / CELLS**2)
    seen = fftconvolve(spread, dot, mode="full")
    # the dot begins half a pixel past the first edge of the middle one, as in scanned_dot
    first = size // 2 - PIXELS // 2 * cells - cells // 2
    part = seen[first : first + PIXELS * cells, first : first + PIXELS * cells]
    return np.asarray(part.reshape(PIXELS, cells, PIXELS, cells).sum(axis=(1, 3)))


def scanned_dot(setup: Setup, terms: int) -> FloatArray:
    """See the dot through linesim's tables with some terms; it lies just past the middle."""
    numbers = station(setup)
    object_um = float(numbers.geometry.object_pixel_x_um)
    rows = PIXELS * DOT_PARTS
    data = np.zeros((rows, rows), dtype=np.float32)
    data[rows // 2, rows // 2] = DOT_PARTS**2
    seen = ArrayReference(data=data, pixel_size_um=setup.target.pixel_size_um)
    spread = first_terms(lens_spread(numbers.optics, object_um, 0.0), terms)
    feet = tuple(footprint(term, object_um) for term in spread.terms)
    sides = Sides(across=feet, along=feet, weights=spread.weights)
    left_um = np.arange(PIXELS, dtype=np.float64) * object_um
    plan = AcrossPlan(
        axis_um=0.0,
        zones=(Zone(first=0, last=PIXELS, sides=sides),),
        left_um=left_um,
        side_um=object_um,
        profile=np.ones(PIXELS, dtype=np.float32),
    )
    sampler = Sampler(
        reference=seen,
        repeat=False,
        bands=np.ones(3, dtype=np.float32),
        zones=(feet,),
        side_um=object_um,
        tiles=across_tiles(plan, seen),
    )
    lines = line_table(setup, numbers, 0, np.arange(PIXELS, dtype=np.float64))
    return np.asarray(sampler.strip(lines), dtype=np.float64)


def picture_errors(setup: Setup, terms: int) -> tuple[float, float]:
    """Give the largest error, and its rms over the 9 x 9 pixels about the dot, in % of the peak."""
    true = exact_dot(optics(setup), setup.camera.pixel_width_um)
    error = (scanned_dot(setup, terms) - true) / true.max() * 100
    near = slice(PIXELS // 2 - 4, PIXELS // 2 + 5)
    return float(np.abs(error).max()), float(np.sqrt(np.mean(error[near, near] ** 2)))


def period_errors(waves: float) -> tuple[float, float]:
    """Give the largest error of a line spread cut to a period, near f = 0 and beyond 0.02/λN_w."""
    period_um = waves  # one wave is 1 µm here
    table = np.arange(int(period_um) + 1) / period_um
    relative = np.linspace(0, 1.2, 12_001)
    lens = optics(setup_of(4.0, 7.5, 0.0, 0.0))
    cutoff = float(lens.cutoff_lp_mm)
    spread = Spread(period_um, lens.mtf(table * cutoff), 0.1)
    error = np.abs(transfer(spread, relative) - lens.mtf(relative * cutoff))
    return float(error[relative <= 0.02].max()), float(error[relative > 0.02].max())


def row(*cells: object) -> None:
    """Print one row of a table."""
    texts = [f"{cell:.4f}" if isinstance(cell, float) else str(cell) for cell in cells]
    sys.stdout.write("| " + " | ".join(texts) + " |\n")
    sys.stdout.flush()


def head(*cells: str) -> None:
    """Print the head of a table."""
    sys.stdout.write("\n")
    row(*cells)
    row(*["---"] * len(cells))


def main() -> None:
    """Print all tables."""
    head("period in λN_w", "largest error up to 0.02/λN_w", "beyond")
    for waves in (PERIOD_WAVES / 2, PERIOD_WAVES, 2 * PERIOD_WAVES):
        row(f"{waves:g}", *period_errors(waves))
    head("lens, pixel", "on the axes", *[f"{n} term{'s' * (n > 1)}" for n in TERMS], "by default")
    for label, *values in SETUPS:
        row(label, *transfer_errors(optics(setup_of(*values)), values[1]), terms_used(*values))
    head("lens, pixel", "brightest", "1 term", "2 terms", "4 terms", "by default")
    for label, *values in SETUPS:
        setup = setup_of(*values)
        errors = [picture_errors(setup, terms) for terms in (1, 2, 4, terms_used(*values))]
        shown = [f"{peak:.2f}, {rms:.2f}" for peak, rms in errors]
        row(label, f"{exact_dot(optics(setup), values[1]).max():.3f}", *shown)


def terms_used(f_number: float, pixel_um: float, blur_um: float, disc_um: float) -> int:
    """Count the terms that linesim takes by default."""
    lens = optics(setup_of(f_number, pixel_um, blur_um, disc_um))
    return len(lens_spread(lens, pixel_um / MAGNIFICATION).terms)


if __name__ == "__main__":
    main()
