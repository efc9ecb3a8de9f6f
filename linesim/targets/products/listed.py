"""The products by name: their sizes, and how light they are."""

from collections.abc import Callable
from typing import NamedTuple

from linesim.forward.reference import Reference
from linesim.targets.products.cloth import cloth
from linesim.targets.products.printed import printed
from linesim.targets.products.timber import timber


class Product(NamedTuple):
    """What the catalogue says of a product, in its words."""

    name: str
    sentence: str
    pixel_size_um: float
    width_mm: float
    height_mm: float
    colour: bool
    product: tuple[float, ...]
    brightest: tuple[float, ...]
    maker: Callable[..., Reference]


PRODUCTS = (
    Product(
        name="cloth",
        sentence="Woven cloth with a missing pick, a broken end, oil stains and knots.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=30.0,
        colour=False,
        product=(0.429,),
        brightest=(0.635,),
        maker=cloth,
    ),
    Product(
        name="timber",
        sentence="A planed softwood board in colour with growth rings, knots, a crack and worm "
        "holes.",
        pixel_size_um=75.0,
        width_mm=150.0,
        height_mm=150.0,
        colour=True,
        product=(0.615, 0.454, 0.281),
        brightest=(0.766, 0.568, 0.354),
        maker=timber,
    ),
    Product(
        name="print",
        sentence="Halftone and line work in one ink on paper with voids, splashes and a streak.",
        pixel_size_um=20.0,
        width_mm=40.0,
        height_mm=30.0,
        colour=False,
        product=(0.788,),
        brightest=(0.834,),
        maker=printed,
    ),
)
"""Products that are matt and level."""
