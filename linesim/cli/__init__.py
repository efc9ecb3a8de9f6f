"""The command line: parse, call one function, print."""

import sys


def main() -> None:
    """Run ``linesim``; refused input is told in sentences on stderr, with exit code 2."""
    from linesim.cli.app import app  # noqa: PLC0415 -- keeps ``import linesim.cli`` free of typer
    from linesim.setup.errors import InputError  # noqa: PLC0415 -- the same

    try:
        app()
    except InputError as refusal:
        for fault in refusal.faults:
            sys.stderr.write(f"linesim: {fault}\n")
        sys.exit(2)
