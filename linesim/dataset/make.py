"""Making a set: begin or go on, let workers make images, write the tables."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from shutil import rmtree
from typing import Any

import tomli_w

from linesim.dataset.card import write_card
from linesim.dataset.checks.listing import write_listing
from linesim.dataset.device import stations_of
from linesim.dataset.draw import PlanRefusedError
from linesim.dataset.dry import Dry, dry_run
from linesim.dataset.export.copies import write_copies
from linesim.dataset.export.parquet import refuse_without_pyarrow
from linesim.dataset.layout import PLAN, SET, SETUP, is_done, set_names, tidy
from linesim.dataset.plan.named_files import named_from
from linesim.dataset.plan.plan import Plan, fingerprint
from linesim.dataset.room import refuse_without_room
from linesim.dataset.samples import write_samples
from linesim.dataset.sums import Sums, sums
from linesim.dataset.tables_out import records, write_tables
from linesim.dataset.workers import images
from linesim.files.atomic import write_json, write_text
from linesim.forward.device.choice import chosen, rendered_on
from linesim.setup.errors import refuse
from linesim.setup.resolve import resolved_text
from linesim.workers.tasks import Progress, Runner, versions


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A finished set: what it holds, and how many images were there already."""

    plan: Plan
    folder: Path
    found: Sums
    kept: int


def make_set(
    plan: Plan,
    folder: Path,
    runner: Runner,
    *,
    resume: bool = False,
    progress: Progress | None = None,
    device: str | None = None,
) -> Made:
    """Make a set, or what is missing of it; images on a device as `linesim.scan` takes it."""
    on = chosen(device, stations_of(plan)).device
    ready(plan, folder, resume=resume, device=on)
    with nothing_of_a_refused_plan(folder):
        kept = make_images(plan, folder, runner, progress, on)
    return Made(plan=plan, folder=folder, found=finish(plan, folder), kept=kept)


def ready(
    plan: Plan,
    folder: Path,
    *,
    resume: bool,
    progress: Progress | None = None,
    device: str | None = None,
) -> Dry:
    """
    Look at folder, plan and disk before anything is written; ``progress`` gets the images drawn.

    ``resume`` goes on with a set of the same plan, and begins where there is none. InputError if
    the folder holds something else, an image can never be made, the disk is too small, or an extra
    that the plan needs is missing.
    """
    refuse_without_pyarrow(plan)
    begin(plan, folder, resume=resume, device=device)
    found = dry_run(plan, progress)
    missing = sum(not is_done(plan, folder, index) for index in range(plan.count))
    refuse_without_room(plan, folder, missing / plan.count)
    return found


def make_images(
    plan: Plan,
    folder: Path,
    runner: Runner,
    progress: Progress | None = None,
    device: str | None = None,
) -> int:
    """
    Make the images of a set that is `ready`, or those that are missing; say how many were there.

    ``progress`` gets the images done, and all. InputError if an image cannot be made.
    """
    open_images = [index for index in range(plan.count) if not is_done(plan, folder, index)]
    done = kept = plan.count - len(open_images)
    _write_plan(plan, folder, device)
    home, each = str(folder.resolve()), plan.scenes.images_each
    for made in images(runner, home, open_images, each, device):
        done += made
        if progress:
            progress(done, plan.count)
    return kept


@contextmanager
def nothing_of_a_refused_plan(folder: Path) -> Iterator[None]:
    """Remove what an impossible plan has left, for a corrected one; what was before stays."""
    known = {each.name for each in folder.iterdir()} if folder.is_dir() else None
    try:
        yield
    except PlanRefusedError:
        if not known and folder.is_dir():
            for each in folder.iterdir():
                rmtree(each) if each.is_dir() else each.unlink()
        if known is None and folder.is_dir():
            folder.rmdir()
        raise


def finish(plan: Plan, folder: Path, progress: Progress | None = None) -> Sums:
    """Write tables, sheet and card of a set whose images are all there; tell of tables done."""
    tidy(folder)  # of workers that died while others went on
    tables = write_tables(plan, folder, progress)
    copied = write_copies(plan, folder)
    found = sums(records(plan, folder))
    write_samples(plan, folder)
    write_card(plan, folder, found)
    write_listing(folder, (*set_names(plan), *tables, *copied))
    return found


def begin(plan: Plan, folder: Path, *, resume: bool, device: str | None = None) -> None:
    """Look at what lies in the folder, and refuse what is not to be gone on with."""
    before = set_in(folder)
    if before is None:
        other = [] if not folder.is_dir() else sorted(each.name for each in folder.iterdir())
        if other:
            refuse(f'output "{folder}" holds {other[0]} and no set; expected a new or empty folder')
        return
    if not resume:
        refuse(
            f'output "{folder}" holds a set; expected --resume to go on with it, or another --out'
        )
    _refuse_other(plan, folder, before)
    then, now = before.get("rendered_on"), rendered_on(device).get("rendered_on")
    if then != now:
        refuse(
            f'--resume: "{folder}" holds images made by {_named(then)}, and {_named(now)} is asked '
            "for; expected what it began with, or another --out"
        )
    tidy(folder)


def _named(made_by: Any) -> str:  # noqa: ANN401 -- plain data of a file
    return f"torch {made_by['torch']} on {made_by['device']}" if made_by else "numpy"


def _refuse_other(plan: Plan, folder: Path, before: dict[str, Any]) -> None:
    """Refuse to mix two plans in one set."""
    if before.get("fingerprint") != fingerprint(plan):
        reasons = [
            f"{name} {before['versions'].get(name)} then and {now} now"
            for name, now in versions().items()
            if before.get("versions", {}).get(name) != now
        ]
        why = f"other versions ({', '.join(reasons)})" if reasons else "another plan or seed"
        refuse(
            f'--resume: "{folder}" holds a set of {why}; expected the plan that it began with '
            f"({PLAN} there), or another --out"
        )
    if before["count"] > plan.count:
        refuse(
            f'--resume: "{folder}" holds a set of {before["count"]} images, and {plan.count} are '
            "asked for; expected as many or more"
        )


def set_in(folder: Path) -> dict[str, Any] | None:
    """Read what a folder says of its set."""
    file = folder / SET
    if not file.is_file():
        return None
    try:
        set_record = json.loads(file.read_text("utf-8"))
        needed = {"fingerprint", "count", "versions"}
        whole = isinstance(set_record, dict) and needed <= set(set_record)
    except ValueError:
        whole = False
    if not whole:
        refuse(f'"{file}" cannot be read; expected the file that linesim dataset wrote there')
    return dict(set_record)


def _write_plan(plan: Plan, folder: Path, device: str | None) -> None:
    """Write what a worker needs, and what tells this set from others."""
    set_record = {
        "simulated": True,
        "title": plan.title,
        "count": plan.count,
        "seed": plan.seed,
        "fingerprint": fingerprint(plan),
        "versions": versions(),
        **rendered_on(device),
    }
    write_json(folder / SET, set_record)
    write_text(folder / SETUP, resolved_text(plan.base, folder))
    texts: dict[str, Any] = {"title": plan.title, "setup": SETUP}
    texts |= {"count": plan.count, "seed": plan.seed}
    texts |= {name: part for name, part in plan.texts.items() if name != "title"}
    write_text(folder / PLAN, tomli_w.dumps(named_from(folder, texts, plan.files)))
