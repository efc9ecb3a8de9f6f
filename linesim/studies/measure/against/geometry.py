"""How a capture lies against the prediction, and what of the station would make it lie so."""

from dataclasses import dataclass

import numpy as np

from linesim.metrics.flat.noise import Estimate
from linesim.metrics.scene.affine import Steps
from linesim.metrics.scene.settled import LIKELY
from linesim.setup.arrays import FloatArray
from linesim.setup.setup import Setup
from linesim.studies.measure.against.placed import Placed
from linesim.studies.measure.against.predicted import Prediction

_NAMES = (
    "shift_along_px",
    "shift_across_px",
    "scale_along",
    "scale_across",
    "rotation_deg",
    "shear_deg",
)
_SIGMA = 4.0
_SCALE = 0.001
_TURN_DEG = 0.02
"""A geometry is explained where it is off by over 4 standard errors and by over so much; our
choice."""
_UNDETERMINED = 0.5
"""Share of what is likely beforehand from which on the target does not tell a motion."""
_MIRRORED = {
    "across": (
        "The image is mirrored across: the line is read out from its other end, the camera is "
        "turned by 180 degrees and the web runs on as before, or the file was flipped."
    ),
    "along": (
        "The image is mirrored along: the web runs the other way, or the camera is turned by 180 "
        "degrees and its line is read from the other end."
    ),
    "both": "The image is turned by 180 degrees: the camera or the target is.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """Place and shape of a capture of the target."""

    # shift of the image's middle against the prediction, in lines and columns; lines and columns
    # for a length over those predicted; angle by which the target's direction of travel is turned
    # towards higher columns; angle by which the line lies further along travel to the right than
    # square to it [px, degrees]
    figures: dict[str, Estimate]
    skew_deg: float  # of the line on the target, as `transport.skew` has it [degrees]
    mirrored: str  # "no", "across", "along" or "both"
    first_column: int  # of the sensor that the capture starts with
    untold: tuple[str, ...]  # figures that this target does not tell

    def as_dict(self) -> dict[str, object]:
        """As JSON has it."""
        out: dict[str, object] = {}
        for name, each in self.figures.items():
            if name not in self.untold:
                out |= {name: each.value, f"{name}_sd": each.sd}
        return out | {"mirrored": self.mirrored, "first_column": self.first_column}

    def is_off(self, name: str) -> bool:
        """Whether a scale or an angle is worth a sentence."""
        each = self.figures[name]
        least = _SCALE if name.startswith("scale") else _TURN_DEG
        far = abs(each.value - name.startswith("scale"))
        return name not in self.untold and far > max(least, _SIGMA * each.sd)


def geometry_of(own: Prediction, one: Placed) -> Geometry:
    """Give the geometry of a capture."""
    sides, steps = own.sides_um, np.array(one.lies.steps)
    steps[1] -= one.first_column
    values = _figures(steps, sides)
    slopes = np.stack(
        [
            (_figures(steps + part, sides) - _figures(steps - part, sides)) / (2 * part.sum())
            for part in 1e-5 * np.eye(len(Steps()))
        ],
        axis=1,
    )
    sd = np.sqrt(np.maximum(np.diag(slopes @ one.errors @ slopes.T), 0.0))
    likely = np.abs(slopes @ np.diag(LIKELY) @ np.eye(len(sd))).max(axis=1)
    return Geometry(
        figures={
            name: Estimate(value=float(value), sd=float(error))
            for name, value, error in zip(_NAMES, values, sd, strict=True)
        },
        skew_deg=_skew_deg(own, one),
        mirrored=one.mirrored,
        first_column=one.first_column,
        untold=tuple(
            name
            for name, error, most in zip(_NAMES, sd, likely, strict=True)
            if error == 0 or error > _UNDETERMINED * most
        ),
    )


def _skew_deg(own: Prediction, one: Placed) -> float:
    """Give the line's angle on the target, with what the setup has of it already."""
    advance_um, side_um = own.sides_um
    steps = one.lies.steps
    more = steps.tilt * advance_um / (side_um * (1 + steps.grow_across))
    return float(np.rad2deg(np.arctan(np.tan(np.deg2rad(own.setup.transport.skew_deg)) + more)))


def _figures(steps: FloatArray, sides_um: tuple[float, float]) -> FloatArray:
    """Turn a map from the image to the prediction into what is seen of the target in the image."""
    along, across, grow_along, grow_across, tilt, drift = steps
    size = np.array(sides_um)
    inverse = np.linalg.inv(np.array([[1 + grow_along, tilt], [drift, 1 + grow_across]]))
    seen = size[:, None] * inverse / size[None, :]
    travel, line = seen[:, 0], seen[:, 1]
    rotation = np.arctan2(travel[1], travel[0])
    shear = np.arctan2(line[0], line[1]) + rotation
    return np.array([
        -along, -across, np.hypot(*travel), np.hypot(*line),
        np.rad2deg(rotation), -np.rad2deg(shear),
    ])  # fmt: skip


def explained_by(found: Geometry, setup: Setup) -> tuple[str, ...]:
    """Say in the station's terms what would make a capture lie so."""
    said = [_MIRRORED[found.mirrored]] if found.mirrored != "no" else []
    long, wide = found.figures["scale_along"], found.figures["scale_across"]
    both = found.is_off("scale_along") and found.is_off("scale_across")
    if both and abs(long.value - wide.value) < max(_SCALE, _SIGMA * np.hypot(long.sd, wide.sd)):
        said.append(
            f"Size: the target is {wide.value - 1:+.2%} larger both ways than predicted. Look at "
            "target.pixel_size first; a magnification and a line rate that are both off by as "
            "much are less likely."
        )
    else:
        said += _along(found, setup) + _across(found, setup)
    if found.is_off("shear_deg"):
        said.append(
            f"Skew: the camera's line is {found.skew_deg:+.2f} degrees off square to travel, where "
            f"{setup.transport.skew_deg:+.2f} were predicted: as with transport.skew = "
            f'"{found.skew_deg:.2f} deg".'
        )
    if found.is_off("rotation_deg"):
        turn = found.figures["rotation_deg"].value
        said.append(
            f"Turn: the target is turned by {turn:+.2f} degrees to the direction of travel, as it "
            f"was laid down, or the web runs aside by {1000 * abs(np.tan(np.deg2rad(turn))):.1f} "
            "mm a metre."
        )
    return tuple(said)


def _along(found: Geometry, setup: Setup) -> list[str]:
    """Explain lines for a length."""
    if not found.is_off("scale_along"):
        return []
    scale = found.figures["scale_along"].value
    said = f"Line rate: {abs(scale - 1):.2%} {'more' if scale > 1 else 'fewer'} lines for a length "
    if setup.transport.trigger == "encoder":
        said += (
            f"than predicted: the encoder's step is {abs(1 / scale - 1):.2%} "
            f"{'shorter' if scale > 1 else 'longer'} on the web than transport.encoder_step says, "
            "by its wheel's diameter or by slip."
        )
        return [said]
    believed = (setup.transport.assumed_speed_mm_s or setup.transport.speed_mm_s) * scale / 1000
    said += (
        f"than predicted: the line clock believes a speed {abs(scale - 1):.2%} "
        f"{'over' if scale > 1 else 'under'} the real one, as with transport.assumed_speed = "
        f'"{believed:.5g} m/s".'
    )
    return [said]


def _across(found: Geometry, setup: Setup) -> list[str]:
    """Explain columns for a length."""
    if not found.is_off("scale_across"):
        return []
    scale = found.figures["scale_across"].value
    said = (
        f"Magnification: the target is {abs(scale - 1):.2%} {'larger' if scale > 1 else 'smaller'} "
        f"across the line than predicted, as with lens.magnification = "
        f"{setup.magnification * scale:.5g}, by working distance or focal length."
    )
    return [said]
