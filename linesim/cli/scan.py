"""``linesim scan``."""

import typer

from linesim.cli.options import (
    Force,
    Json,
    Out,
    Report,
    Seed,
    SetupPath,
    Strict,
    TrueProportion,
    chosen_folder,
    chosen_setup,
    leave,
    print_json,
)


def scan(  # noqa: PLR0913 -- one argument an option
    setup: SetupPath = None,
    *,
    out: Out = None,
    seed: Seed = 0,
    json: Json = False,
    strict: Strict = False,
    true_proportion: TrueProportion = False,
    report: Report = False,
    force: Force = False,
) -> None:
    """Render what a setup would capture: the scan, a picture of it, and its figures."""
    from linesim.report.outputs import write_scan  # noqa: PLC0415 -- quick --help
    from linesim.report.scan_page import write_scan_report  # noqa: PLC0415 -- quick --help
    from linesim.report.table import scan_text  # noqa: PLC0415 -- quick --help
    from linesim.study.scan import scan as scan_of  # noqa: PLC0415 -- quick --help

    chosen, folder = chosen_setup(setup), chosen_folder(out, setup)
    found = scan_of(chosen, seed, force=force)
    written = write_scan(found, folder, true_proportion=true_proportion)
    if report:
        written = (*written, write_scan_report(found, folder))
    if json:
        print_json(found.metrics())
    else:
        typer.echo(scan_text(found))
        names = ", ".join(path.name for path in written)
        typer.echo(f"\nwrote {names} in {written[0].parent.as_posix()}/")
    leave(found.budget.verdicts, strict=strict)
