"""
The fault with relief that a setup asks for, as its lamp shows it on its product.

Light is taken to go by slopes, as it does where these stretch over many wavelengths; what is
narrower spreads it by diffraction, and is told with a caution.
"""

from dataclasses import replace

from linesim.forward.geometry import Figure
from linesim.metrics.detection.flanks import Form, Relief, flanks_of, weights
from linesim.setup.setup import Setup
from linesim.targets.faces.face import face_under

WAVES = 10.0
"""Wavelengths across a fault from which on light goes by its slopes; our choice."""


def sought_relief(setup: Setup, product: Figure) -> Relief | None:
    """Light the fault with relief that a setup asks for."""
    need = setup.requirement.defect_relief
    if need is None:
        return None
    form = Form(
        kind=need.kind,
        steepness=need.depth_um / need.width_um,
        turn_deg=0.0 if need.direction == "along" else 90.0,
    )
    # a white of very many stations is an array, and asked for apart
    flanks = flanks_of(replace(face_under(setup), white_reflectance=1.0), form)
    matt, gloss = weights(flanks, product, setup.target.white_reflectance)
    return Relief(
        flanks=flanks,
        width_um=need.width_um,
        length_um=need.length_um,
        matt=matt,
        gloss=gloss,
    )
