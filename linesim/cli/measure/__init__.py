"""``linesim measure``: figures from an image, one file a subcommand."""

from linesim.cli.late import late_app

COMMANDS = {
    "edge": "MTF and rise of a slanted edge.",
    "bars": "Contrast and MTF of groups of three bars.",
    "noise": "Signal, noise, column pattern and SNR of an even area.",
    "uniformity": "Fall-off, streaks and bands along the line.",
    "scene": "Noise, SNR and sharpness of an image of anything.",
    "camera": "A camera's figures from flat and dark frames (EMVA 1288).",
    "detection": "Inject many of a setup's smallest defects, and search them.",
    "gap": "Hold a data set's good images against real ones, and propose ranges.",
    "against": "Hold an image against what its setup predicts.",
}
measure = late_app(
    "linesim.cli.measure", COMMANDS, "Read figures off images, simulated or captured."
)
