"""``linesim dataset``."""

import os
import textwrap
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from linesim.cli.options import Json, Out, chosen_folder, print_json
from linesim.cli.progress import progress
from linesim.cli.workers import Cluster, refuse_both
from linesim.dataset.able import told_of
from linesim.dataset.make import Made, finish, make_images, nothing_of_a_refused_plan
from linesim.dataset.people import plan_people
from linesim.dataset.plan.plan_file import load_plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.verify import AGAIN, Verified, verify
from linesim.dataset.workers import cluster, processes
from linesim.figures.safety import MACHINERY
from linesim.setup.errors import InputError
from linesim.workers.tasks import Runner

_WIDTH = 100
_PLACES = ("README.md", "samples.png", "images/", "masks/", "annotations/")

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
    verify: Verify = None,
    out: Out = None,
    json: Json = False,
) -> None:
    """Write a labelled data set: scans with faults, masks, COCO annotations, tables, a card."""
    if verify is not None:
        _refuse_beside_verify({"PLAN": plan, "--out": out, "--cluster": cluster, "--seed": seed})
        _verify(verify, count, json=json)
        return
    folder = chosen_folder(out or (None if plan else Path("outputs") / "sample_set"), plan)
    chosen = load_plan(plan, count=count, seed=seed)
    with (
        nothing_of_a_refused_plan(folder),
        _runner(workers, cluster) as runner,
        progress("making images", timed=True) as tell,
    ):
        kept = make_images(chosen, folder, runner, resume=resume, tell=tell)
    with progress("writing tables") as tell:
        made = Made(plan=chosen, folder=folder, found=finish(chosen, folder, tell), kept=kept)
    if json:
        print_json(_figures(made))
    else:
        typer.echo(_text(made))


def _refuse_beside_verify(given: dict[str, object]) -> None:
    found = [name for name, value in given.items() if value is not None]
    if found:
        msg = f"--verify: read {found[0]} too; expected --verify FOLDER, with --count alone"
        raise InputError(msg)


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


def _figures(made: "Made") -> dict[str, object]:
    found = made.found
    return {
        "simulated": True,
        "folder": made.folder.as_posix(),
        "images": dict(sorted(found.images.items())),
        "good": sum(found.good.values()),
        "labels": sum(found.labels.values()),
        "visible": sum(found.visible.values()),
        "unlabelled": sum(found.unlabelled.values()),
        "cannot_run": sum(found.stuck.values()),
        "clips": sum(found.clipped.values()),
        "kept": made.kept,
        "cautions": [*(each.line for each in plan_people(made.plan)), MACHINERY],
    }


def _text(made: "Made") -> str:
    found = made.found
    labels, visible = sum(found.labels.values()), sum(found.visible.values())
    parts = ", ".join(f"{found.images[name]} {name}" for name in SPLITS)
    hidden = sum(found.unlabelled.values())
    bare = [name for name in SPLITS if made.plan.splits[name] > 0 and not found.images[name]]
    able = told_of(made.plan.count, sum(found.stuck.values()), sum(found.clipped.values()))
    lines = [
        made.plan.title,
        f"{made.plan.count} images ({parts}), {sum(found.good.values())} of them without faults",
        *able,
        f"{labels} labels, {visible} of them visible; {hidden} more faults have no label",
        *([f"{made.kept} images were there already"] if made.kept else []),
        *(
            f"{name} has no image: expected more images, or a smaller scenes.images_each"
            for name in bare
        ),
        "scans are real, faults simulated" if made.plan.scenes.real else "all of it is simulated",
        *_paragraphs((*(each.line for each in plan_people(made.plan)), MACHINERY)),
        f"\nwrote {', '.join(_PLACES)} … in {made.folder.as_posix()}/",
    ]
    return "\n".join(lines)


def _paragraphs(texts: Iterable[str]) -> Iterator[str]:
    for text in texts:
        yield from textwrap.wrap(text, _WIDTH, initial_indent="  ", subsequent_indent="      ")


def _verify(folder: Path, again: int | None, *, json: bool) -> None:
    with progress("verifying", timed=True) as tell:
        found = verify(folder, AGAIN if again is None else again, tell)
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
        typer.echo(_verified(found, folder))
    if found.faults:
        raise typer.Exit(1)


def _verified(found: "Verified", folder: Path) -> str:
    if found.faults:
        return "\n".join([f"{folder.as_posix()} is not as it was made:", *found.faults])
    return (
        f"{found.images} images and {found.labels} labels agree; {len(found.made_again)} images "
        "made again are the same, byte for byte; no scene is in two splits"
    )
