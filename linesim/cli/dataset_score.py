"""``linesim dataset --score``."""

from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import print_json
from linesim.cli.progress import progress
from linesim.dataset.score.outputs import figures, write_score
from linesim.dataset.score.study import Rule, score
from linesim.dataset.score.words import lines
from linesim.figures.safety import MACHINERY
from linesim.report.console import wrapped
from linesim.setup.errors import refuse

ScorePath = Annotated[
    Path | None,
    typer.Option(
        "--score",
        metavar="PREDICTIONS",
        help="Make no set: score a detector's boxes (COCO results) on the set in the folder PLAN.",
    ),
]
Split = Annotated[
    str | None, typer.Option(help="With --score: this split.  [default: those that boxes are of]")
]
Iou = Annotated[
    float | None,
    typer.Option(
        min=0.01,
        max=1.0,
        help="With --score: intersection over union from which a fault is found.  [default: 0.5]",
    ),
]
LeastScore = Annotated[
    float | None,
    typer.Option(help="With --score: boxes below count for nothing.  [default: best F1]"),
]


def score_set(
    predictions: Path | None, folder: Path | None, out: Path | None, rule: Rule, *, json: bool
) -> None:
    """Score predictions, write the files and print the answer."""
    if folder is None or predictions is None:
        what = "no set" if folder is None else "no predictions"
        refuse(f"--score: read {what}; expected linesim dataset --score PREDICTIONS FOLDER")
    target = out or Path("outputs") / f"{folder.name or 'set'}_score"
    with progress("scoring", timed=True) as update:
        found = score(predictions, folder, rule, update)
    written = write_score(found, target)
    if json:
        print_json(figures(found))
        return
    for line in lines(found):
        typer.echo(line)
    for line in ("", *wrapped(MACHINERY)):
        typer.echo(line)
    typer.echo(f"\nwrote {', '.join(path.as_posix() for path in written)}")
