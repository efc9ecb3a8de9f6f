"""``linesim measure``: figures from an image, one file a subcommand."""

import typer

from linesim.cli.measure_against import against
from linesim.cli.measure_bars import bars
from linesim.cli.measure_camera import camera
from linesim.cli.measure_detection import detection
from linesim.cli.measure_edge import edge
from linesim.cli.measure_noise import noise
from linesim.cli.measure_scene import scene
from linesim.cli.measure_uniformity import uniformity

measure = typer.Typer(
    name="measure",
    help="Read figures off images, simulated or captured.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

measure.command()(edge)
measure.command()(bars)
measure.command()(noise)
measure.command()(uniformity)
measure.command()(scene)
measure.command()(camera)
measure.command()(detection)
measure.command()(against)
