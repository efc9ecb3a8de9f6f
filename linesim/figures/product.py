"""The product as a setup describes it: its level against white, its brightest part, its texture."""

import numpy as np

from linesim.forward.collect import band_weights
from linesim.forward.geometry import Figure
from linesim.metrics.detection.texture import Grain, MeasuredTexture, Texture, texture_of
from linesim.setup.arrays import FloatArray
from linesim.setup.channels import COLOURS
from linesim.setup.errors import refuse
from linesim.setup.product import WHITE, GrainTexts, ImageTexture
from linesim.setup.setup import Setup
from linesim.setup.shown import shown
from linesim.targets.load import Later, TargetSize, product_size


def product_share(setup: Setup, size: TargetSize) -> Figure:
    """Give good product as a share of white: as required, or the target's median by colour."""
    asked = setup.requirement.product_reflectance
    if asked == WHITE:
        return 1.0
    if asked is not None:
        return np.asarray(asked) / setup.target.white_reflectance
    return _by_channel(setup, size.levels.product)


def brightest_share(setup: Setup, size: TargetSize) -> Figure:
    """Give the brightest level that counts: the target's 99.9th percentile, or the product."""
    return np.maximum(_by_channel(setup, size.levels.brightest), product_share(setup, size))


def _by_channel(setup: Setup, levels: tuple[float, ...]) -> Figure:
    """Give what each channel of the camera sees of a level in grey, or in red, green and blue."""
    if len(levels) < len(COLOURS):
        return levels[0]
    seen: FloatArray = band_weights(setup) @ np.asarray(levels)
    return float(seen) if seen.ndim == 0 else seen


def wanted_texture(setup: Setup, size: TargetSize) -> Texture | None:
    """Give the texture that a setup counts as noise."""
    asked = setup.requirement.texture
    if asked is None:
        return None
    if isinstance(asked, GrainTexts):
        return Grain(rms=asked.rms, correlation_um=asked.correlation_um)
    if isinstance(asked, ImageTexture):
        found, name = own_texture(product_size(setup, asked.name)), asked.name
    else:
        found, name = own_texture(size), asked
    if found is None:
        refuse(
            f"requirement.texture: read {shown(name)}, but no texture can be measured there: it "
            "takes 128 x 128 pixels of product; expected a larger image, a scene, or "
            '{ rms = 0.02, correlation = "0.3 mm" }'
        )
    return found


def own_texture(size: TargetSize) -> MeasuredTexture | None:
    """Measure the target's own texture."""
    tiles = size.tiles.cut() if isinstance(size.tiles, Later) else size.tiles
    return None if tiles is None else texture_of(tiles)
