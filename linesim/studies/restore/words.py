"""What is said of a scan that became a target: what it is true to, and whom it cannot judge."""

from pathlib import Path

from linesim.figures.plain_numbers import digits
from linesim.forward.station import station
from linesim.studies.restore.study import Material

_ENDS = {
    False: "beyond it noise is as strong",
    True: "beyond it more than half may be a false pattern (aliasing), for the product has detail "
    "finer than the scan can hold",
}


def target_lines(found: Material, white: float) -> str:
    """Write the lines of a setup that name the target."""
    return (
        "[target]\n"
        'image = "target.tif"\n'
        f'pixel_size = "{found.pixel_size_um:g} um"\n'
        'encoding = "linear"\n'
        f"white_reflectance = {white:g}\n"
    )


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
            "judged with it: what it would see besides is not in the target, or this product does "
            "not show it."
        ),
        (
            f"Noise left in the target: {found.noise_left:.4f} rms of reflectance "
            f"({found.noise_before:.4f} in the scan, before what restoring lifts). Every scan of "
            "the target has it, beside its own."
        ),
    )


def result_text(found: Material, white: float, written: tuple[Path, ...], folder: Path) -> str:
    """
    Say all of it, with the lines to paste.

    Parameters
    ----------
    white : float; reflectance at full scale of the file
    """
    minded = "\n".join(f"caution: {each.text} [{each.code}]" for each in found.cautions)
    where = (
        f"For a setup that lies in {folder.as_posix()}/ (elsewhere with that folder in front of "
        "the name):"
    )
    parts = ("\n".join(spoken(found)), minded, where, target_lines(found, white))
    names = ", ".join(path.name for path in written)
    text = "\n\n".join(part for part in parts if part)
    return f"{text}\nwrote {names} in {folder.as_posix()}/"
