"""What is said of a scan that became a target: what it is true to, and whom it cannot judge."""

from linesim.figures.plain_numbers import digits
from linesim.forward.station import station
from linesim.studies.restore.study import Material

_ENDS = {
    False: "beyond it noise is as strong",
    True: "beyond it more than half may be a false pattern (aliasing), for the product has detail "
    "finer than the scan can hold",
}


def spoken(found: Material) -> tuple[str, ...]:
    """Say in sentences what was done and what is lost."""
    numbers = station(found.setup)
    rows, columns = found.data.shape
    lines, width = found.plain.shape
    pitch_um = float(numbers.geometry.object_pixel_x_um), float(numbers.timing.line_advance_um)
    nyquist = [500 / each for each in pitch_um]
    return (
        (
            f"{found.name}: {width} x {lines} samples of {digits(pitch_um[0])} x "
            f"{digits(pitch_um[1])} um became {columns} x {rows} pixels of "
            f"{found.pixel_size_um:g} um; lens, pixel and motion of the station were taken off."
        ),
        (
            f"True to {digits(found.true_to_x_lp_mm)} lp/mm across and "
            f"{digits(found.true_to_y_lp_mm)} lp/mm along (the scan's own limits are "
            f"{digits(nyquist[0])} and {digits(nyquist[1])}): up to there at least half of what "
            f"was on the product is there again, and {_ENDS[found.folded]}. What was finer is lost."
        ),
        (
            f"A station with object pixels finer than {digits(found.finest_um)} um cannot be "
            "judged with it: the target lacks the finer detail that such a station would see."
        ),
        (
            f"Noise left in the target: {found.noise_left:.4f} rms of reflectance "
            f"({found.noise_before:.4f} in the scan; sharpening raises it). A simulated scan of "
            "the target shows it besides its own noise."
        ),
    )
