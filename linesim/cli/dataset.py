"""``linesim dataset``."""

import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.dataset_score import Iou, LeastScore, ScorePath, Split, score_set
from linesim.cli.dataset_words import dry_figures, dry_text, made_figures, made_text, verified_text
from linesim.cli.device import NUMPY, Device, device_for
from linesim.cli.options import Json, Out, chosen_folder, print_json
from linesim.cli.progress import progress
from linesim.cli.workers import Cluster, refuse_both
from linesim.dataset.device import stations_of
from linesim.dataset.dry import dry_run
from linesim.dataset.make import Made, finish, make_images, nothing_of_a_refused_plan, ready
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.score.study import Rule
from linesim.dataset.verify import AGAIN, verify
from linesim.dataset.workers import cluster, processes
from linesim.setup.errors import refuse
from linesim.workers.tasks import Runner

PlanPath = Annotated[
    Path | None,
    typer.Argument(
        metavar="[PLAN]", help="Plan of a set; left out: a built-in one of 24 images of foil."
    ),
]
Count = Annotated[
    int | None, typer.Option(min=1, help="Images.  [default: as the plan says, else 24]")
]
SetSeed = Annotated[
    int | None,
    typer.Option("--seed", min=0, help="Seed of all chance.  [default: as the plan says, else 0]"),
]
Workers = Annotated[
    int | None,
    typer.Option(min=1, help="Processes of one thread each.  [default: one a processor]"),
]
Resume = Annotated[
    bool,
    typer.Option(
        "--resume", help="Go on with a set of the same plan; begin where there is none yet."
    ),
]
DryRun = Annotated[
    bool,
    typer.Option(
        "--dry-run",
        help="Draw the plan and count images and faults by class and split; write nothing.",
    ),
]
Verify = Annotated[
    Path | None,
    typer.Option(
        metavar="FOLDER",
        help="Make no set: verify the one in FOLDER, and make --count of its images (8) again; "
        "exit with 1 where something is wrong.",
    ),
]


def dataset(  # noqa: PLR0913 -- one option a parameter
    plan: PlanPath = None,
    *,
    count: Count = None,
    seed: SetSeed = None,
    workers: Workers = None,
    cluster: Cluster = None,
    resume: Resume = False,
    dry: DryRun = False,
    verify: Verify = None,
    score: ScorePath = None,
    split: Split = None,
    iou: Iou = None,
    least_score: LeastScore = None,
    out: Out = None,
    json: Json = False,
    device: Device = NUMPY,
) -> None:
    """Write a labelled data set: scans with faults, masks, COCO annotations, tables, a card."""
    if verify is not None:
        on = None if device == NUMPY else device
        beside = {"PLAN": plan, "--out": out, "--cluster": cluster, "--seed": seed}
        _verify(verify, count, {**beside, "--device": on}, json=json)
        return
    if score is not None or (split, iou, least_score) != (None, None, None):
        score_set(score, plan, out, Rule.of(split, iou, least_score), json=json)
        return
    folder = chosen_folder(out or (None if plan else Path("outputs") / "sample_set"), plan)
    chosen = load_plan(plan, count=count, seed=seed)
    on = device_for(device, stations_of(chosen))
    if dry:
        _dry(chosen, json=json)
        return
    _make(chosen, folder, _runner(workers, cluster), on, resume=resume, json=json)


def _make(
    plan: Plan,
    folder: Path,
    lent: AbstractContextManager[Runner],
    device: str | None,
    *,
    resume: bool,
    json: bool,
) -> None:
    """Make the set, and say what it holds."""
    with progress("drawing the plan", timed=True) as update:
        found = ready(plan, folder, resume=resume, progress=update, device=device)
    with (
        nothing_of_a_refused_plan(folder),
        lent as runner,
        progress("making images", timed=True) as update,
    ):
        kept = make_images(plan, folder, runner, update, device)
    with progress("writing tables") as update:
        made = Made(plan=plan, folder=folder, found=finish(plan, folder, update), kept=kept)
    if json:
        print_json(made_figures(made))
    else:
        typer.echo(made_text(made, found))


def _dry(plan: Plan, *, json: bool) -> None:
    with progress("drawing the plan", timed=True) as update:
        found = dry_run(plan, update)
    if json:
        print_json(dry_figures(plan, found))
    else:
        typer.echo(dry_text(plan, found))


@contextmanager
def _runner(workers: int | None, address: str | None) -> Iterator[Runner]:
    """Lend the workers asked for."""
    refuse_both(workers, address)
    lent = cluster(address) if address is not None else processes(workers or _processors())
    with lent as runner:
        yield runner


def _processors() -> int:
    """Count the processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _verify(folder: Path, again: int | None, beside: dict[str, object], *, json: bool) -> None:
    given = [name for name, value in beside.items() if value is not None]
    if given:
        refuse(f"--verify: read {given[0]} too; expected --verify FOLDER, with --count alone")
    with progress("verifying", timed=True) as update:
        found = verify(folder, AGAIN if again is None else again, update)
    if json:
        print_json(
            {
                "images": found.images,
                "labels": found.labels,
                "made_again": list(found.made_again),
                "faults": list(found.faults),
            }
        )
    else:
        typer.echo(verified_text(found, folder))
    if found.faults:
        raise typer.Exit(1)
