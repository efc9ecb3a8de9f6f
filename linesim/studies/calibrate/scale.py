"""
Size: how large a pixel is on the product, and the product laid flat where it was seen askew.

A flat face under a lens without distortion is seen through a projective map, which four corners of
a known rectangle give (R. Hartley and A. Zisserman, Multiple View Geometry, 2nd ed. 2003, chapter
2.3, from memory). Places count from the outer corner of the first pixel, whose middle is 0.5, 0.5.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from skimage.transform import ProjectiveTransform, warp

from linesim.setup.arrays import FloatArray, ImageArray
from linesim.setup.errors import refuse
from linesim.studies.calibrate.asked import Asked, Corners, Ruler

_UM_AN_INCH = 25_400.0
NO_SCALE_DPI = (72.0, 96.0)
"""What programs write that know nothing of a length (common practice, no source)."""
_SAME = 0.02
"""Sizes that differ by less than this share are taken as equal; our choice."""
_SQUARE = 0.005
_UNEVEN = 0.1
_MOST_OUT = 1_000_000_000
_BAND_SAMPLES = 4_000_000
_DIGITS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Size of the target's pixels."""

    pixel_size_um: float
    source: str  # what it comes from, for people
    seen_um: tuple[float, float]  # least and most that a pixel of the photograph covers [µm]
    cautions: tuple[tuple[str, str], ...] = ()


def flat_map(corners: Corners) -> ProjectiveTransform:
    """Give the map from places on the product [mm] to places in the photograph [px]."""
    wide, high = corners.width_mm, corners.height_mm
    equations, aims = [], []
    for (x, y), (u, v) in zip(
        ((0, 0), (wide, 0), (wide, high), (0, high)), corners.points, strict=True
    ):
        equations += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        aims += [u, v]
    eight = np.linalg.solve(np.array(equations, dtype=np.float64), np.array(aims))
    return ProjectiveTransform(np.append(eight, 1.0).reshape(3, 3))  # type: ignore[no-untyped-call]


def find_scale(asked: Asked, dpi: tuple[float, float] | None) -> Scale:
    """Choose the size of the target's pixels, and tell what contradicts it."""
    return _of_corners(asked, asked.corners, dpi) if asked.corners else _of_plain(asked, dpi)


def _of_corners(asked: Asked, corners: Corners, dpi: tuple[float, float] | None) -> Scale:
    """Take the finest pitch of the photograph on the product, or what is asked for."""
    mapped = flat_map(corners)
    finest_um, coarsest_um = _pitches_um(mapped, corners)
    size_um = asked.pixel_size_um or float(f"{finest_um:.3g}")
    cautions = list(_against_file((finest_um, coarsest_um), "--corners with --size", dpi))
    if asked.ruler:
        ends = mapped.inverse(np.array(asked.ruler.ends))
        seen_mm = float(np.hypot(*(ends[1] - ends[0])))
        _refuse_other(seen_mm / asked.ruler.length_mm, asked.ruler.length_mm, seen_mm)
    if coarsest_um > (1 + _UNEVEN) * size_um:
        text = (
            f"A pixel of the photograph covers {finest_um:.3g} to {coarsest_um:.3g} um of the "
            f"product; where it covers more than {size_um:.4g} um, the target is softer than its "
            "pixels."
        )
        cautions.append(("scale_uneven", text))
    return Scale(
        pixel_size_um=size_um,
        source="the four corners and their size",
        seen_um=(finest_um, coarsest_um),
        cautions=tuple(cautions),
    )


def _refuse_other(ratio: float, stated_mm: float, seen_mm: float) -> None:
    if abs(ratio - 1) > _SAME:
        refuse(
            f"--length, --corners: read a length of {stated_mm:g} mm that is {seen_mm:.4g} mm by "
            f"the corners and their size; expected the same within {_SAME:.0%}"
        )


def _pitches_um(mapped: ProjectiveTransform, corners: Corners) -> tuple[float, float]:
    """Give the least and the most of the product that a pixel covers, in any direction."""
    wide, high = corners.width_mm, corners.height_mm
    places = np.array([[wide * x, high * y] for x in (0, 0.5, 1) for y in (0, 0.5, 1)])
    step_mm = 1e-4 * min(wide, high)
    steps = [
        (mapped(places + step_mm * np.eye(2)[axis]) - mapped(places)) / step_mm for axis in (0, 1)
    ]
    per_mm = np.linalg.svd(np.stack(steps, axis=-1), compute_uv=False)
    return float(1000 / per_mm.max()), float(1000 / per_mm.min())


def _of_plain(asked: Asked, dpi: tuple[float, float] | None) -> Scale:
    known = [
        (asked.pixel_size_um, "--pixel-size"),
        (_ruled_um(asked.ruler) if asked.ruler else None, "--length"),
    ]
    stated = [(size_um, name) for size_um, name in known if size_um is not None]
    if len(stated) > 1 and abs(stated[0][0] / stated[1][0] - 1) > _SAME:
        refuse(
            f"--pixel-size, --length: read {stated[0][0]:.4g} um and, by the length, "
            f"{stated[1][0]:.4g} um a pixel; expected the same within {_SAME:.0%}, or one of them"
        )
    if stated:
        size_um, name = stated[0]
        return _scale(size_um, name, tuple(_against_file((size_um, size_um), name, dpi)))
    return _of_file(asked, dpi)


def _scale(size_um: float, source: str, cautions: tuple[tuple[str, str], ...] = ()) -> Scale:
    rounded_um = float(f"{size_um:.{_DIGITS}g}")
    return Scale(
        pixel_size_um=rounded_um, source=source, seen_um=(size_um, size_um), cautions=cautions
    )


def _ruled_um(ruler: Ruler) -> float:
    (x1, y1), (x2, y2) = ruler.ends
    return 1000 * ruler.length_mm / float(np.hypot(x2 - x1, y2 - y1))


def _against_file(
    seen_um: tuple[float, float], name: str, dpi: tuple[float, float] | None
) -> Iterator[tuple[str, str]]:
    """Tell where the file states another size, unless it is one that states nothing."""
    if dpi is None or any(abs(dpi[0] - each) < 0.5 for each in NO_SCALE_DPI):  # noqa: PLR2004 -- dpi
        return
    stated_um = _UM_AN_INCH / dpi[0]
    if not seen_um[0] / (1 + _SAME) < stated_um < seen_um[1] * (1 + _SAME):
        size = (
            f"{seen_um[0]:.4g}" if seen_um[0] == seen_um[1] else "{:.4g} to {:.4g}".format(*seen_um)
        )
        text = (
            f"The file states {dpi[0]:.4g} dpi, {stated_um:.4g} um a pixel, but {name} says "
            f"{size} um, which was used."
        )
        yield "scale_contradicts_file", text


def _of_file(asked: Asked, dpi: tuple[float, float] | None) -> Scale:
    expected = (
        'expected --length "X1,Y1 X2,Y2 = LENGTH", --corners with --size, or --pixel-size "20 um"'
    )
    if dpi is None:
        refuse(f'image "{asked.image}": states no resolution; {expected}')
    if any(abs(dpi[0] - each) < 0.5 for each in NO_SCALE_DPI):  # noqa: PLR2004 -- dpi
        refuse(
            f'image "{asked.image}": states {dpi[0]:g} dpi, which cameras and programs write '
            f"that know no length; {expected}"
        )
    if abs(dpi[0] / dpi[1] - 1) > _SQUARE:
        refuse(
            f'image "{asked.image}": states {dpi[0]:g} dpi across and {dpi[1]:g} dpi down, but a '
            f"target has square pixels; {expected}"
        )
    return _scale(_UM_AN_INCH / dpi[0], f"the file's {dpi[0]:.6g} dpi")


def laid_flat(image: ImageArray, corners: Corners, scale: Scale) -> ImageArray:
    """
    Lay flat what the corners enclose.

    Where a pixel of the target covers more than one of the photograph, n x n places in it are
    averaged, with n so large that no pixel is passed over; between pixels of the photograph a
    cubic goes (bicubic convolution), which never leaves the range of the photograph.
    """
    size_um = scale.pixel_size_um
    shape = [round(1000 * side / size_um) for side in (corners.height_mm, corners.width_mm)]
    if min(shape) < 2 or shape[0] * shape[1] > _MOST_OUT:  # noqa: PLR2004 -- what a setup reads
        refuse(
            f"--size, --pixel-size: they make {shape[0]} x {shape[1]} pixels (rows x columns); "
            f"expected at least 2 a side and at most {_MOST_OUT} in all"
        )
    fine = max(1, int(np.ceil(size_um / scale.seen_um[0] - 1e-6)))
    out = np.empty((shape[0], shape[1], image.shape[2]), dtype=np.float32)
    rows = max(1, _BAND_SAMPLES // (shape[1] * fine * fine * image.shape[2]))
    from_target = flat_map(corners).params
    for first in range(0, shape[0], rows):
        last = min(first + rows, shape[0])
        step_mm = size_um / 1000 / fine
        # index of a fine pixel to its middle on the product, then to an index of the photograph
        on_product = np.array(
            [
                [step_mm, 0, 0.5 * step_mm],
                [0, step_mm, 0.5 * step_mm + first * size_um / 1000],
                [0, 0, 1],
            ]
        )
        to_index = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
        band = warp(  # type: ignore[no-untyped-call]
            image,
            ProjectiveTransform(to_index @ from_target @ on_product),  # type: ignore[no-untyped-call]
            output_shape=((last - first) * fine, shape[1] * fine),
            order=3,
            mode="edge",
            preserve_range=True,
        )
        out[first:last] = _means(np.asarray(band, dtype=np.float64), fine)
    return out


def _means(band: FloatArray, fine: int) -> FloatArray:
    """Average blocks of n x n."""
    rows, columns, channels = band.shape
    blocks = band.reshape(rows // fine, fine, columns // fine, fine, channels)
    return np.asarray(blocks.mean(axis=(1, 3)))
