"""``linesim fit``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import Json, Out, Report, chosen_folder, show
from linesim.cli.progress import progress
from linesim.files.folders import all_images
from linesim.report.page import write_pages
from linesim.setup.errors import refuse
from linesim.setup.load import load_setup
from linesim.studies.compare.set_texts import changes_of
from linesim.studies.fit.outputs import FITTED, fit_json, write_fit
from linesim.studies.fit.page import fit_page
from linesim.studies.fit.study import fit as fit_of
from linesim.studies.fit.words import fit_text

Captures = Annotated[
    list[Path], typer.Argument(metavar="IMAGE...", help="Captures of the target, as delivered.")
]
Keys = Annotated[
    str | None,
    typer.Option(
        "--keys",
        metavar="KEY,KEY",
        help="What is fitted, such as light.illuminance,lens.blur; left out: the usual unknowns.",
    ),
]
Conditions = Annotated[
    list[str] | None,
    typer.Option(
        "--taken",
        metavar="N:KEY=VALUE",
        help='How the Nth image was taken otherwise: "2: acquisition.exposure=50 us".',
    ),
]


def fit(  # noqa: PLR0913 -- one option a property of the run
    setup: Annotated[Path, typer.Argument(metavar="SETUP", help="Setup with the captured target.")],
    images: Captures,
    *,
    keys: Keys = None,
    taken: Conditions = None,
    report: Report = False,
    out: Out = None,
    json: Json = False,
) -> None:
    """Fit a station's unknowns to captures of its target, with intervals."""
    chosen = load_setup(setup)
    folder = chosen_folder(out, setup)
    if (folder / FITTED).resolve() == setup.resolve():
        refuse(
            f'output "{folder}": {FITTED} would replace the setup that was read; '
            "expected another folder"
        )
    with progress("fitting") as update:
        found = fit_of(
            chosen,
            all_images(images),
            keys=None if keys is None else keys.split(","),
            conditions=_conditions(taken or []),
            progress=update,
        )
    written = write_fit(found, folder)
    written += write_pages(folder, fit_page(found)) if report else ()
    show(found, fit_json, fit_text, written, json=json)


def _conditions(texts: list[str]) -> dict[int, dict[str, object]]:
    """Read how images were taken."""
    found: dict[int, dict[str, object]] = {}
    for text in texts:
        number, _, rest = text.partition(":")
        if not number.strip().isdecimal():
            refuse(
                f'--taken: read "{text}"; expected an image\'s number before keys and values, such '
                'as "2: acquisition.exposure=50 us"'
            )
        found.setdefault(int(number), {}).update(changes_of(rest, "--taken"))
    return found
