"""``linesim measure scene``."""

from linesim.cli.measure.options import area_command
from linesim.studies.measure.scene import table
from linesim.studies.measure.scene.study import measure_scene

scene = area_command(
    measure_scene,
    table.text,
    table.png,
    image_help="Anything in motion; or a folder.",
    does="Read noise, SNR, sharpness along and across, and levels off an image of anything.",
)
