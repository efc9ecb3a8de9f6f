"""The command line: parse, call one function, print."""

import sys

REFUSED = 2
_TOO_LARGE = "this needs more memory than the machine has"
STOPPED = 130
"""As shells report a command that Ctrl-C ended: 128 + SIGINT."""


def main() -> None:
    """Run ``linesim``; refused input is told in sentences on stderr, with exit code 2."""
    try:
        _run()
    except KeyboardInterrupt:
        _stop()
    except SystemExit as end:
        if end.code == STOPPED:
            _stop()
        raise


def _run() -> None:
    from linesim.cli.app import app  # noqa: PLC0415 -- keeps ``import linesim.cli`` free of typer
    from linesim.setup.errors import InputError  # noqa: PLC0415 -- the same

    try:
        app()
    except InputError as refusal:
        _refuse(refusal.faults)
    except MemoryError as fault:
        _refuse((f"{_TOO_LARGE} ({fault})",))
    except OSError as fault:  # whatever no reader or writer has put into a sentence of its own
        _refuse((f'"{fault.filename or "a file"}" cannot be used ({fault.strerror or fault})',))


def _refuse(faults: tuple[str, ...]) -> None:
    from linesim.setup.shown import visible  # noqa: PLC0415 -- quick --help

    for fault in faults:
        sys.stderr.write(f"linesim: {visible(fault)}\n")
    sys.exit(REFUSED)


def _stop() -> None:
    sys.stderr.write("linesim: stopped; files that were not finished have been left out\n")
    sys.exit(STOPPED)
