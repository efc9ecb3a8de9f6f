"""The built-in targets by name: what they are, their own sizes, and how to make one."""

from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from typing import Protocol

from linesim.forward.reference import Reference
from linesim.forward.surface import Finish
from linesim.setup.errors import InputError, refuse
from linesim.targets.bars import bars
from linesim.targets.edge import edge
from linesim.targets.film import film
from linesim.targets.flat import flat
from linesim.targets.foil import foil
from linesim.targets.glaze import glaze
from linesim.targets.products.cloth import cloth
from linesim.targets.products.printed import printed
from linesim.targets.products.timber import timber
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
    """One built-in target."""

    name: str
    sentence: str
    # its usual size
    pixel_size_um: float = 20.0
    width_mm: float = 40.0
    height_mm: float = 30.0
    # reflectance of the product, and of its brightest part; one number, or red, green and blue
    product: tuple[float, ...]
    brightest: tuple[float, ...]
    maker: Maker
    finish: Finish | None = None  # what it mirrors by; none: matt
    haze: float = 1.0  # share of light that it scatters of what it lets through

    @property
    def colour(self) -> bool:
        """Whether it has colours."""
        return len(self.product) > 1


TESTS = (
    BuiltIn(
        name="flat",
        sentence="A perfect white everywhere, for noise, uniformity and saturation.",
        product=(1.0,),
        brightest=(1.0,),
        maker=flat,
    ),
    BuiltIn(
        name="edge",
        sentence="A slanted edge of known angle and contrast, for edge response (MTF).",
        product=(0.8,),
        brightest=(0.8,),
        maker=edge,
    ),
    BuiltIn(
        name="bars",
        sentence="Groups of three bars at right angles from coarse to fine, for what can be told "
        "apart across and along travel.",
        pixel_size_um=10.0,
        height_mm=40.0,
        product=(0.8,),
        brightest=(0.8,),
        maker=bars,
    ),
    BuiltIn(
        name="star",
        sentence="A star of 144 sinusoidal spokes, for sharpness in every direction.",
        height_mm=40.0,
        product=(0.5,),
        brightest=(0.8,),
        maker=star,
    ),
    BuiltIn(
        name="steps",
        sentence="A grey step wedge of 12 equal density steps along travel, for noise against "
        "signal and for linearity.",
        height_mm=36.0,
        product=(0.137,),
        brightest=(0.9,),
        maker=steps,
    ),
)
"""Charts of known reflectance."""
PRODUCTS = (
    BuiltIn(
        name="foil",
        sentence="A coated-foil web with pinholes, agglomerates, a streak and a scratch.",
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
        product=(0.73, 0.681, 0.582),
        brightest=(0.766, 0.714, 0.61),
        maker=tile,
    ),
    BuiltIn(
        name="sheet",
        sentence="A rolled metal sheet with grooves, dents, a print mark and a hole; with relief.",
        product=(0.119,),
        brightest=(0.155,),
        maker=sheet,
        finish=Finish(gloss=0.6, rms_across=0.08, rms_along=0.03),
        haze=0.0,
    ),
    BuiltIn(
        name="film",
        sentence="A clear film with gels, holes and a fine white print; with relief.",
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
        product=(0.73, 0.68, 0.582),
        brightest=(0.766, 0.714, 0.61),
        maker=glaze,
        finish=Finish(gloss=0.04, rms_across=0.03, rms_along=0.03),
    ),
    BuiltIn(
        name="cloth",
        sentence="Woven cloth with a missing pick, a broken end, oil stains and knots.",
        product=(0.429,),
        brightest=(0.635,),
        maker=cloth,
    ),
    BuiltIn(
        name="timber",
        sentence="A planed softwood board in colour with growth rings, knots, a crack and worm "
        "holes.",
        pixel_size_um=75.0,
        width_mm=150.0,
        height_mm=150.0,
        product=(0.615, 0.454, 0.281),
        brightest=(0.766, 0.568, 0.354),
        maker=timber,
    ),
    BuiltIn(
        name="print",
        sentence="Halftone and line work in one ink on paper with voids, splashes and a streak.",
        product=(0.788,),
        brightest=(0.834,),
        maker=printed,
    ),
)
"""Scenes that show a product."""
BUILT_INS = (*TESTS, *PRODUCTS)
"""All built-in targets."""


def built_in(name: str) -> BuiltIn:
    """Find a built-in target, or suggest the nearest name."""
    by_name = {entry.name: entry for entry in BUILT_INS}
    if name not in by_name:
        near = get_close_matches(name.lower(), by_name, n=1, cutoff=0.5)
        hint = f'did you mean "{near[0]}"?' if near else f"expected one of {', '.join(by_name)}"
        refuse(f'target.image: read "{name}", which is no built-in target; {hint}')
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

    InputError if the name is unknown, a value is out of range, or an angle (of the edge against
    travel) or a contrast (light over dark) is given for a target that has none.
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
