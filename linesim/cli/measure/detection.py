"""``linesim measure detection``."""

from typing import Annotated

import typer

from linesim.cli.device import NUMPY, Device, device_for
from linesim.cli.measure.options import Plot, drawn, show
from linesim.cli.options import Json, Seed, SetupPath, chosen_setup
from linesim.studies.measure.detection import table
from linesim.studies.measure.detection.study import evened, inject


def detection(
    setup: SetupPath = None,
    *,
    count: Annotated[
        int, typer.Option("--count", min=100, max=10_000_000, help="Defects to inject.")
    ] = 20_000,
    seed: Seed = 0,
    plot: Plot = None,
    json: Json = False,
    device: Device = NUMPY,
) -> None:
    """Inject many of a setup's smallest defects, search them, and compare with the closed form."""
    chosen = chosen_setup(setup)
    on = device_for(device, [evened(chosen)] if device != NUMPY else ())
    each = inject(chosen, count, seed, device=on)
    found = table.Trial(setup=chosen, channels=each, device=on)
    show(found, table.text, json=json, wrote=drawn(found, table.png, plot))
