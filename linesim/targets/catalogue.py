"""The built-in targets by name: what they are, their own sizes, and how to make one."""

from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from typing import Protocol

from linesim.forward.reference import Reference
from linesim.forward.surface import Finish
from linesim.setup.errors import InputError
from linesim.targets.bars import bars
from linesim.targets.edge import edge
from linesim.targets.film import film
from linesim.targets.flat import flat
from linesim.targets.foil import foil
from linesim.targets.glaze import glaze
from linesim.targets.products.listed import PRODUCTS
from linesim.targets.sheet import sheet
from linesim.targets.star import star
from linesim.targets.steps import steps
from linesim.targets.tile import tile


class Maker(Protocol):
    """A function that makes a target of a given size."""

    def __call__(self, *, pixel_size_um: float, width_mm: float, height_mm: float) -> Reference:
        """Make it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BuiltIn:
    """
    One built-in target.

    Its finish is what it mirrors by, None where it is matt; its haze is the share of light that it
    scatters of what it lets through.
    """

    name: str
    sentence: str
    pixel_size_um: float
    width_mm: float
    height_mm: float
    colour: bool
    product: tuple[float, ...]
    brightest: tuple[float, ...]
    maker: Maker
    finish: Finish | None = None
    haze: float = 1.0


BUILT_INS = (
    BuiltIn(
        name="flat",
        sentence="A perfect white everywhere, for noise, uniformity and saturation.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=30.0,
        colour=False,
        product=(1.0,),
        brightest=(1.0,),
        maker=flat,
    ),
    BuiltIn(
        name="edge",
        sentence="A slanted edge of known angle and contrast, for edge response (MTF).",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=30.0,
        colour=False,
        product=(0.8,),
        brightest=(0.8,),
        maker=edge,
    ),
    BuiltIn(
        name="bars",
        sentence="Groups of three bars at right angles from coarse to fine, for what can be told "
        "apart across and along travel.",
        pixel_size_um=10.0,
        width_mm=40.0,
        height_mm=40.0,
        colour=False,
        product=(0.8,),
        brightest=(0.8,),
        maker=bars,
    ),
    BuiltIn(
        name="star",
        sentence="A star of 144 sinusoidal spokes, for sharpness in every direction.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=40.0,
        colour=False,
        product=(0.5,),
        brightest=(0.8,),
        maker=star,
    ),
    BuiltIn(
        name="steps",
        sentence="A grey step wedge of 12 equal density steps along travel, for noise against "
        "signal and for linearity.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=36.0,
        colour=False,
        product=(0.137,),
        brightest=(0.9,),
        maker=steps,
    ),
    BuiltIn(
        name="foil",
        sentence="A coated-foil web with pinholes, agglomerates, a streak and a scratch.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=30.0,
        colour=False,
        product=(0.113,),
        brightest=(0.643,),
        maker=foil,
    ),
    BuiltIn(
        name="tile",
        sentence="Decorated ceramic tiles in colour with fine lines, speckle, grout and faults.",
        pixel_size_um=75.0,
        width_mm=150.0,
        height_mm=150.0,
        colour=True,
        product=(0.73, 0.681, 0.582),
        brightest=(0.766, 0.714, 0.61),
        maker=tile,
    ),
    BuiltIn(
        name="sheet",
        sentence="A rolled metal sheet with grooves, dents, a print mark and a hole; with relief.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=30.0,
        colour=False,
        product=(0.119,),
        brightest=(0.155,),
        maker=sheet,
        finish=Finish(gloss=0.6, rms_across=0.08, rms_along=0.03),
        haze=0.0,
    ),
    BuiltIn(
        name="film",
        sentence="A clear film with gels, holes and a fine white print; with relief.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=30.0,
        colour=False,
        product=(0.015,),
        brightest=(0.7,),
        maker=film,
        finish=Finish(gloss=0.04, rms_across=0.02, rms_along=0.02),
        haze=0.05,
    ),
    BuiltIn(
        name="glaze",
        sentence="Decorated tiles in colour under varnish with craters, pinholes and runs; with "
        "relief.",
        pixel_size_um=75.0,
        width_mm=150.0,
        height_mm=150.0,
        colour=True,
        product=(0.73, 0.68, 0.582),
        brightest=(0.766, 0.714, 0.61),
        maker=glaze,
        finish=Finish(gloss=0.04, rms_across=0.03, rms_along=0.03),
    ),
    *(BuiltIn(**each._asdict()) for each in PRODUCTS),
)
"""All built-in targets: test targets first, then the scenes."""


def built_in(name: str) -> BuiltIn:
    """
    Find a built-in target.

    Raises
    ------
    InputError; if there is none of that name; the nearest name is suggested
    """
    by_name = {entry.name: entry for entry in BUILT_INS}
    if name not in by_name:
        near = get_close_matches(name.lower(), by_name, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"expected one of {', '.join(by_name)}"
        msg = f'target.image: read "{name}", which is no built-in target; {hint}'
        raise InputError(msg)
    return by_name[name]


def make(
    name: str,
    *,
    pixel_size_um: float | None = None,
    width_mm: float | None = None,
    height_mm: float | None = None,
    angle_deg: float | None = None,
    contrast: float | None = None,
) -> Reference:
    """
    Make a built-in target; what is left out takes the target's own value.

    Parameters
    ----------
    name : str; one of the names in ``BUILT_INS``
    pixel_size_um : float, optional; side of one square reference pixel [µm]
    width_mm, height_mm : float, optional; size across travel and along it [mm]
    angle_deg : float, optional; angle of the edge against travel, for ``edge`` alone [°]
    contrast : float, optional; reflectance light over dark, for ``edge`` alone

    Raises
    ------
    InputError
        If the name is unknown, a value is out of range, or an angle or a contrast is given for a
        target that has none.
    """
    entry = built_in(name)
    return _maker(entry, angle_deg, contrast)(
        pixel_size_um=entry.pixel_size_um if pixel_size_um is None else pixel_size_um,
        width_mm=entry.width_mm if width_mm is None else width_mm,
        height_mm=entry.height_mm if height_mm is None else height_mm,
    )


def _maker(entry: BuiltIn, angle_deg: float | None, contrast: float | None) -> Maker:
    """Bind the two values that only the edge has."""
    asked = {"angle_deg": angle_deg, "contrast": contrast}
    given = {key: value for key, value in asked.items() if value is not None}
    if not given:
        return entry.maker
    if entry.maker is edge:
        return partial(edge, **given)
    faults = [
        f'target.{key.removesuffix("_deg")}: read {value:g}, but "{entry.name}" has none; '
        'leave it out or choose "edge"'
        for key, value in given.items()
    ]
    raise InputError(*faults)
