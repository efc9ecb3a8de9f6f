"""What a calibration says: what was done, how well it fits, what to mind."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from linesim.figures.cautions import Caution
from linesim.figures.plain_numbers import digits, percent
from linesim.figures.safety import MACHINERY
from linesim.report.console import wrapped
from linesim.setup.channels import COLOURS
from linesim.studies.calibrate.colour import spare_patches
from linesim.studies.calibrate.curve import Curve
from linesim.studies.calibrate.study import GREY_WEIGHTS, Calibrated

_SLOWEST = 2.0
_EVEN = 1.0001
_DECODING = {"srgb": "decoded sRGB", "linear": "linear"}


def rms(residual: np.ndarray) -> float:
    """Give the root mean square of residuals."""
    return float(np.sqrt(np.mean(np.square(residual))))


def worst(found: Calibrated) -> int:
    """Name the patch that fits worst, by its place."""
    return int(np.argmax(np.abs(found.residual).max(axis=1)))


def target_lines(pixel_size_um: float, white: float) -> str:
    """Write the lines of a setup that name a target, whose file has this reflectance as white."""
    return (
        "[target]\n"
        'image = "target.tif"\n'
        f'pixel_size = "{pixel_size_um:g} um"\n'
        'encoding = "linear"\n'
        f"white_reflectance = {white:g}\n"
    )


def curve_words(curve: Curve, count: int) -> str:
    """Say a curve in the numbers that were fitted."""
    parts = [f"scale {digits(curve.gain)}"]
    if count >= 2:  # noqa: PLR2004 -- numbers of a curve
        parts.append(f"glare {100 * curve.glare:.2g} % of the encoding's white")
    if count >= 3:  # noqa: PLR2004 -- the same
        parts.append(f"gamma {digits(curve.gamma)}")
    if count > 3:  # noqa: PLR2004 -- the same
        parts.append(f"shoulder {curve.shoulder:.2f}")
    return ", ".join(parts)


def tone_words(found: Calibrated) -> Iterator[str]:
    """Say how the tone was fitted, and how well."""
    count, patches = len(found.used), "patch" if len(found.used) == 1 else "patches"
    numbers = count - spare_patches(found.seen)
    names = ("",) if len(found.tone.curves) == 1 else tuple(f"{each}: " for each in COLOURS)
    curves = "; ".join(
        f"{name}{curve_words(curve, numbers)}"
        for name, curve in zip(names, found.tone.curves, strict=True)
    )
    yield f"Tone from {count} {patches} on the {_DECODING[found.asked.encoding]} numbers: {curves}."
    if found.tone.matrix is not None:
        rows = "; ".join(" ".join(f"{each:+.3f}" for each in row) for row in found.tone.matrix)
        yield f"Matrix that parts the colours, rows red, green, blue: {rows}."
    if found.asked.grey:
        weights = ", ".join(f"{each:g}" for each in GREY_WEIGHTS)
        yield f"Made grey in linear light with {weights} of red, green, blue (luminance)."
    yield _fit_words(found)


def _fit_words(found: Calibrated) -> str:
    residual, index = found.residual, worst(found)
    patch = found.used[index]
    text = (
        f"Residual in reflectance: rms {rms(residual):.4f}, worst patch "
        f"{np.abs(residual).max():.4f} ({patch.region})."
    )
    if spare_patches(found.seen) == 0:
        text += (
            " There are as many patches as numbers of the curve, so the residual says nothing: "
            "another patch would check it."
        )
    if found.predicted is not None:
        text += (
            f" Each patch predicted from the others: rms {rms(found.predicted):.4f}, worst "
            f"{np.abs(found.predicted).max():.4f}."
        )
    return text


def light_words(found: Calibrated) -> str:
    """Say how the fall-off of the light was taken off, and what that loses."""
    if found.field is None:
        return "Light: its fall-off is still in the target (--blank or --flatten takes it off)."
    low, high = found.field.span
    size = f"{percent(low)} to {percent(high)} of the median"
    if found.asked.blank:
        return (
            f"Light: the blank {found.asked.blank.name} went from {size} in decoded values, and "
            "was taken off; the sheet is taken as even."
        )
    if high / low < _EVEN:
        return (
            "Light: no fall-off could be told from the photograph itself, whose pattern foretells "
            "as much without one; --blank measures it."
        )
    whole = found.data if found.asked.corners else found.photo.linear
    longest_mm = max(whole.shape[:2]) * found.scale.pixel_size_um / 1000 / _SLOWEST
    return (
        f"Light: estimated from the photograph itself, {size} in decoded values, and taken off. "
        "Slow changes of the product itself that look alike, over about "
        f"{digits(longest_mm)} mm and more, have gone with it: --blank keeps them."
    )


def size_words(found: Calibrated) -> str:
    """Say how large the target is."""
    rows, columns = found.data.shape[:2]
    pitch_um = found.scale.pixel_size_um
    wide, high = (f"{digits(side * pitch_um / 1000, 4)} mm" for side in (columns, rows))
    flat = ", laid flat" if found.asked.corners else ""
    return (
        f"Size: {columns} x {rows} pixels of {pitch_um:g} um, {wide} x {high}, by "
        f"{found.scale.source}{flat}."
    )


def spoken(found: Calibrated) -> tuple[str, ...]:
    """Say in sentences what was done."""
    return (*tone_words(found), light_words(found), size_words(found))


def target_text(
    said: tuple[str, ...], cautions: tuple[Caution, ...], lines: str, written: tuple[Path, ...]
) -> str:
    """Say how a target was made, what to mind, and the lines to paste into a setup."""
    minded = [f"caution: {each.text} [{each.code}]" for each in cautions]
    folder = written[0].parent.as_posix()
    where = f"For a setup that lies in {folder}/ (elsewhere with that folder in front of the name):"
    parts = ("\n".join(said), "\n".join([*minded, *wrapped(MACHINERY)]), where, lines)
    names = ", ".join(path.name for path in written)
    return "\n\n".join(parts) + f"\nwrote {names} in {folder}/"
