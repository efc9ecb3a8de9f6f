"""The command line: parse, call one function, print."""

import atexit
import gc
import os
import sys

from linesim.setup.errors import InputError
from linesim.setup.shown import visible

REFUSED = 2
_TOO_LARGE = "this needs more memory than the machine has"
STOPPED = 130
"""As shells report a command that Ctrl-C ended: 128 + SIGINT."""


def main() -> None:
    """Run ``linesim``; refused input is told in sentences on stderr, with exit code 2."""
    _start()
    try:
        _run()
    except KeyboardInterrupt:
        _stop()
    except SystemExit as end:
        if end.code == STOPPED:
            _stop()
        raise
    finally:
        gc.enable()


def _start() -> None:
    """
    Get ready to load.

    Nothing that is loaded can be given back before the end, so the collector of cycles does not
    look through it while it loads (see `linesim.cli.late`), nor once more when all is over. Nor
    does pydantic look for plugins among all that is installed.
    """
    gc.disable()
    atexit.register(gc.freeze)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "true")


def _run() -> None:
    from linesim.cli.app import app  # noqa: PLC0415 -- it takes a while, and Ctrl-C may come in it

    try:
        app()
    except InputError as refusal:
        _refuse(refusal.faults)
    except MemoryError as fault:
        _refuse((f"{_TOO_LARGE} ({fault})",))
    except OSError as fault:  # whatever no reader or writer has put into a sentence of its own
        _refuse((f'"{fault.filename or "a file"}" cannot be used ({fault.strerror or fault})',))


def _refuse(faults: tuple[str, ...]) -> None:
    for fault in faults:
        sys.stderr.write(f"linesim: {visible(fault)}\n")
    sys.exit(REFUSED)


def _stop() -> None:
    sys.stderr.write("linesim: stopped; files that were not finished have been left out\n")
    sys.exit(STOPPED)
