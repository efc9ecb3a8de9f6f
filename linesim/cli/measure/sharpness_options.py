"""Options that the commands that measure sharpness share."""

from typing import Annotated

import typer

from linesim.studies.measure.sharpness_input import read_pitch

Channel = Annotated[
    str | None,
    typer.Option(
        "--channel", metavar="COLOUR", help="red, green or blue; left out: green, or the only one."
    ),
]
DirectionOf = Annotated[
    str | None,
    typer.Option(
        "--direction",
        metavar="WAY",
        help="Which way light changes, across or along; left out: found.",
    ),
]
Encoding = Annotated[
    str,
    typer.Option(
        "--encoding", metavar="NAME", help="What samples stand for: linear light, or srgb."
    ),
]
PixelPitch = Annotated[
    str | None,
    typer.Option(
        "--pixel-pitch",
        metavar="LENGTH",
        help='Of samples on the target: "75 um", or across x along: "75 um x 60 um".',
    ),
]


def chosen_pitch_um(text: str | None) -> tuple[float, float] | None:
    """Read the pitch asked for."""
    return None if text is None else read_pitch(text)
