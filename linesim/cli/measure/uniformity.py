"""``linesim measure uniformity``."""

from linesim.cli.measure.options import area_command
from linesim.studies.measure.flat import uniformity_table as table
from linesim.studies.measure.flat.uniformity import measure_uniformity

uniformity = area_command(
    measure_uniformity,
    table.text,
    table.png,
    image_help="An even target in motion; or a folder.",
    does="Read fall-off, streaks, bands and SNR along the line off an even target.",
)
