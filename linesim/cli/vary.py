"""``linesim vary``."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.device import NUMPY, Device, device_for
from linesim.cli.options import (
    Json,
    OnePage,
    Out,
    Report,
    Seed,
    chosen_folder,
    chosen_setup,
    leave,
    show,
)
from linesim.cli.progress import progress
from linesim.cli.workers import Cluster, Workers, lent_runner, refuse_both
from linesim.report.page import Wanted, write_pages
from linesim.setup.errors import refuse
from linesim.setup.setup import Setup
from linesim.studies.batch.ranges import split_ranges
from linesim.studies.vary.alternatives import alternatives as alternatives_of
from linesim.studies.vary.alternatives_table import (
    alternatives_json,
    alternatives_text,
    write_alternatives,
)
from linesim.studies.vary.outputs import vary_json, write_vary
from linesim.studies.vary.page import vary_page
from linesim.studies.vary.rendered import Seen, points_of, rendered
from linesim.studies.vary.study import Varied
from linesim.studies.vary.study import vary as varied
from linesim.studies.vary.table import vary_text

Words = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[SETUP] KEY=RANGE",
        help="A setup file (left out: the built-in sample), and one key or two, such as "
        "light.illuminance=5klx:200klx:log12, lens.f_number=2.8,4,5.6 or "
        "transport.speed=10m/min:90m/min:lin9.",
    ),
]
Binning = Annotated[
    str | None,
    typer.Option(
        metavar="LIST", help='Ways of binning, such as "1x1,2x2".  [default: the setup\'s own]'
    ),
]
Exposure = Annotated[
    str | None,
    typer.Option(
        metavar="WORD",
        help='"same": the first binning\'s time for all; "full": each its whole line period.  '
        "[default: same where --binning is given, else as the setup says]",
    ),
]
Figures = Annotated[
    str | None,
    typer.Option(
        metavar="LIST",
        help='Figures by their names in the budget, such as "snr_product,mtf50_y_lp_mm", or "all".',
    ),
]
Render = Annotated[
    bool,
    typer.Option("--render", help="Measure on rendered images too, with error bars; one key only."),
]
Alternatives = Annotated[
    bool,
    typer.Option(
        "--ways", help="No range: the ways to four times the electrons, and what each costs."
    ),
]
Unmet = Annotated[
    bool,
    typer.Option(
        "--strict", help="Exit with 1 where a way of binning holds everything nowhere in the range."
    ),
]


def vary(  # noqa: PLR0913 -- one option a parameter
    words: Words = None,
    *,
    binning: Binning = None,
    exposure: Exposure = None,
    figures: Figures = None,
    render: Render = False,
    alternatives: Alternatives = False,
    out: Out = None,
    seed: Seed = 0,
    json: Json = False,
    strict: Unmet = False,
    report: Report = False,
    one_page: OnePage = False,
    workers: Workers = None,
    cluster: Cluster = None,
    device: Device = NUMPY,
) -> None:
    """Vary one key of a setup or two: figures, plots, and where the requirements are met."""
    path, texts = _parted(words or [])
    ranges, chosen, folder = split_ranges(texts), chosen_setup(path), chosen_folder(out, path)
    pages = Wanted(report=report, one_page=one_page)
    if alternatives:
        _refuse_beside_alternatives(ranges, pages)
        _show_alternatives(chosen, folder, json=json)
        return
    by = _rendering(_By(seed=seed, workers=workers, cluster=cluster, device=device), asked=render)
    study = partial(varied, chosen, ranges, binning=_listed(binning), exposure=exposure)
    found, seen = _studied(partial(study, figures=_listed(figures)), by)
    written = write_vary(found, seen, folder)
    written += write_pages(folder, vary_page(found, seen), pages) if pages else ()
    show(found, partial(vary_json, seen=seen), vary_text, written, json=json)
    leave(met=found.met, strict=strict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _By:
    """How points are to be rendered, as typed."""

    seed: int
    workers: int | None
    cluster: str | None
    device: str


def _studied(study: Callable[..., Varied], by: _By | None) -> tuple[Varied, tuple[Seen, ...]]:
    """Work the points out, and render them where that is asked for."""
    with progress("working out points") as update:
        found = study(progress=update)
    if by is None:
        return found, ()
    on = device_for(by.device, points_of(found) if by.device != NUMPY else ())
    with lent_runner(by.workers, by.cluster) as runner, progress("rendering points") as update:
        return found, rendered(found, by.seed, runner=runner, progress=update, device=on)


def _parted(words: list[str]) -> tuple[Path | None, list[str]]:
    """Take the setup file off the ranges; it stands first and has no ``=``, or it is there."""
    if words and ("=" not in words[0] or Path(words[0]).is_file()):
        return Path(words[0]), words[1:]
    return None, words


def _listed(text: str | None) -> tuple[str, ...]:
    return tuple(part.strip() for part in (text or "").split(",") if part.strip())


def _refuse_beside_alternatives(ranges: dict[str, str], pages: Wanted) -> None:
    page = "--report" if pages.report else "--one-page" if pages.one_page else ""
    other = f"a range of {next(iter(ranges))}" if ranges else page
    if other:
        refuse(f"--ways: read {other} too; expected one of the two")


def _rendering(by: _By, *, asked: bool) -> _By | None:
    """Tell how points are to be rendered, if at all; nothing else has work for workers."""
    given = {
        "--workers": by.workers is not None,
        "--cluster": by.cluster is not None,
        "--device": by.device != NUMPY,
    }
    name = next((each for each, is_given in given.items() if is_given), "")
    if not asked and name:
        refuse(f"{name}: read without --render, which alone has work for it; expected --render too")
    refuse_both(by.workers, by.cluster)
    return by if asked else None


def _show_alternatives(setup: "Setup", folder: Path, *, json: bool) -> None:
    """Set the ways to four times the electrons side by side."""
    found = alternatives_of(setup)
    text = partial(alternatives_text, setup.title)
    show(found, alternatives_json, text, write_alternatives(found, folder), json=json)
