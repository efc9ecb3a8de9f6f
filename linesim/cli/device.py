"""The option that names what makes the images."""

from collections.abc import Iterable
from typing import Annotated

import typer

from linesim.forward.device.choice import NUMPY, chosen
from linesim.setup.setup import Setup

Device = Annotated[
    str,
    typer.Option(
        "--device",
        metavar="NAME",
        help='What makes the images: numpy, or torch (an extra) on "cpu", "cuda", "cuda:1"; '
        '"cuda:0,cuda:1", or "all" of cuda: work is dealt over several; "auto": cuda where it is '
        "there and carries the setup.",
    ),
]
__all__ = ["NUMPY", "Device", "device_for"]


def device_for(asked: str, setups: Iterable[Setup]) -> str | None:
    """Choose it before anything is begun; say why where "auto" takes the numpy path."""
    choice = chosen(asked, setups)
    if choice.why:
        typer.echo(f"linesim: {choice.why}", err=True)
    return choice.device
