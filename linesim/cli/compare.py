"""``linesim compare``."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.device import NUMPY, Device, device_for
from linesim.cli.options import (
    Force,
    Json,
    OnePage,
    Out,
    Report,
    Seed,
    TrueProportion,
    chosen_folder,
    chosen_setup,
    leave,
    show,
)
from linesim.cli.progress import progress
from linesim.cli.workers import Cluster, Workers, lent_runner
from linesim.report.page import Wanted
from linesim.setup.errors import refuse
from linesim.setup.load import changed
from linesim.studies import compare as room
from linesim.studies.compare import variants as made
from linesim.studies.compare.lights import light_variants
from linesim.studies.compare.outputs import compare_json, write_comparison
from linesim.studies.compare.study import compared, refuse_count
from linesim.studies.compare.table import compare_text
from linesim.studies.compare.variants import Variant

Setups = Annotated[
    list[Path] | None,
    typer.Argument(
        metavar="SETUP",
        help="One setup file, or two to six to set side by side; left out: the built-in sample.",
    ),
]
Binning = Annotated[
    str | None,
    typer.Option(
        metavar="LIST",
        help='Ways of binning, such as "1x1,2x2,2x2 digital".  [default: 1x1,2x1,1x2,2x2]',
    ),
]
Set = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help='A variant by changed keys, such as "light.illuminance=20 klx; lens.f_number=2.8", '
        "beside the setup as it is; once for each variant. No value takes a key out.",
    ),
]
Lights = Annotated[
    str | None,
    typer.Option(
        metavar="LIST",
        help='Places of the lamp with the same light on the target, such as "bright field,dark '
        'field,even,back"; an angle may follow ("dark field 60 deg").',
    ),
]
Domain = Annotated[
    str | None, typer.Option(metavar="WORD", help='Of all binning: "charge" or "digital".')
]
Exposure = Annotated[
    str | None,
    typer.Option(
        metavar="WORD",
        help='"same": the first variant\'s time for all; "full": each its whole line period.  '
        "[default: as the setup says]",
    ),
]
KeepLineRate = Annotated[
    bool,
    typer.Option(
        "--keep-line-rate",
        help="The first variant's line rate for all; else it keeps step with the rows joined.",
    ),
]
Scans = Annotated[
    bool, typer.Option("--scans", help="Write each variant's scan too, in a folder of its own.")
]
NoneMeets = Annotated[
    bool,
    typer.Option(
        "--strict",
        help="Exit with 1 unless at least one variant runs, does not clip and meets all that is "
        "required.",
    ),
]


def compare(  # noqa: PLR0913 -- one option a parameter
    setup: Setups = None,
    *,
    binning: Binning = None,
    changes: Set = None,
    lights: Lights = None,
    domain: Domain = None,
    exposure: Exposure = None,
    keep_line_rate: KeepLineRate = False,
    out: Out = None,
    seed: Seed = 0,
    json: Json = False,
    strict: NoneMeets = False,
    scans: Scans = False,
    true_proportion: TrueProportion = False,
    report: Report = False,
    one_page: OnePage = False,
    force: Force = False,
    workers: Workers = None,
    cluster: Cluster = None,
    device: Device = NUMPY,
) -> None:
    """Set binning modes, or any variants of a setup, side by side over one strip of the target."""
    paths = setup or []
    ask = _Ask(paths=paths, binning=binning, changes=changes, domain=domain, lights=lights)
    title, variants = _variants(ask, exposure=exposure, keep_line_rate=keep_line_rate)
    refuse_count(len(variants))
    folder = chosen_folder(out, paths[0] if paths else None)
    on = device_for(device, [one.setup for one in variants])
    with lent_runner(workers, cluster) as runner, progress("scanning") as update:
        found = compared(
            title, variants, seed, runner=runner, progress=update, force=force, device=on
        )
    written = write_comparison(found, folder, true_proportion=true_proportion, scans=scans)
    pages = Wanted(report=report, one_page=one_page)
    if pages:
        written += room.write_compare_report(found, folder, pages, true_proportion=true_proportion)
    show(found, compare_json, compare_text, written, json=json)
    leave(met=found.any_meets_all, strict=strict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ask:
    """What is to be compared, as typed."""

    paths: list[Path]
    binning: str | None
    changes: list[str] | None
    domain: str | None
    lights: str | None


def _variants(
    ask: _Ask, *, exposure: str | None, keep_line_rate: bool
) -> "tuple[str, tuple[Variant, ...]]":
    """Give a title for all, and the variants of one kind: files, changed keys or binning."""
    _refuse_mixture(ask)
    if len(ask.paths) > 1:
        found = made.file_variants(ask.paths, exposure=exposure, keep_line_rate=keep_line_rate)
        return ", ".join(one.title for one in found), found
    base = chosen_setup(ask.paths[0] if ask.paths else None)
    if ask.domain is not None:
        base = changed(base, {"acquisition.binning_domain": ask.domain})
    if ask.lights is not None:
        found = light_variants(
            base, ask.lights.split(","), exposure=exposure, keep_line_rate=keep_line_rate
        )
        return base.title, found
    modes = made.BINNINGS if ask.binning is None else ask.binning.split(",")
    make = made.set_variants if ask.changes else made.binning_variants
    given = ask.changes or modes
    return base.title, make(base, given, exposure=exposure, keep_line_rate=keep_line_rate)


def _refuse_mixture(ask: _Ask) -> None:
    given = {
        "several setup files": len(ask.paths) > 1,
        "--set": bool(ask.changes),
        "--lights": ask.lights is not None,
        "--binning or --domain": ask.binning is not None or ask.domain is not None,
    }
    read = [name for name, there in given.items() if there]
    if len(read) > 1:
        refuse(
            f"compare: read {' and '.join(read)}, but variants are of one kind; expected one of "
            f"them (binning is a key too: --set acquisition.binning=2x2)"
        )
