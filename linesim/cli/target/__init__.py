"""``linesim target``: targets drawn, photographed or captured, one file a subcommand."""

from linesim.cli.late import late_app

COMMANDS = {
    "draw": "List the built-in targets, or write one as an image; may be left out.",
    "calibrate": "Make a photograph or an office scan a target of known reflectance.",
    "extend": "Make metres of web from a photograph, without a visible repeat.",
    "restore": "Make a scan a target again, the blur of its own station taken off.",
}
ABOUT = "Make a target: drawn, of a photograph, of a scan."
target = late_app("linesim.cli.target", COMMANDS, ABOUT, alone="draw")
