"""What ``linesim dataset`` says."""

from collections.abc import Iterator
from pathlib import Path

from linesim.dataset.able import states_in_words
from linesim.dataset.dry import Dry
from linesim.dataset.make import Made
from linesim.dataset.people import plan_people
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.room import need_bytes
from linesim.dataset.verify import Verified
from linesim.defects.kinds import RELIEF
from linesim.figures.safety import MACHINERY, people_lines
from linesim.report.console import paragraphs
from linesim.setup.surface import PLACED

_MOST_LISTED = 8
_PLACES = ("README.md", "samples.png", "images/", "masks/", "annotations/")


def made_figures(made: Made) -> dict[str, object]:
    """Give what was made, for machines."""
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
        "cautions": people_lines(plan_people(made.plan)),
    }


def made_text(made: Made, dry: Dry) -> str:
    """Say what was made."""
    found = made.found
    labels, visible = sum(found.labels.values()), sum(found.visible.values())
    parts = ", ".join(f"{found.images[name]} {name}" for name in SPLITS)
    hidden = sum(found.unlabelled.values())
    able = states_in_words(made.plan.count, sum(found.stuck.values()), sum(found.clipped.values()))
    lines = [
        made.plan.title,
        f"{made.plan.count} images ({parts}), {sum(found.good.values())} of them without faults",
        *able,
        f"{labels} labels, {visible} of them visible; {hidden} more faults have no label",
        *([f"{made.kept} images were there already"] if made.kept else []),
        *dry_notes(made.plan, dry),
        "scans are real, faults simulated" if made.plan.scenes.real else "all of it is simulated",
        *paragraphs(people_lines(plan_people(made.plan))),
        f"\nwrote {', '.join(_PLACES)} … in {made.folder.as_posix()}/",
    ]
    return "\n".join(lines)


def verified_text(found: Verified, folder: Path) -> str:
    """Say whether a set is as it was made."""
    if found.faults:
        return "\n".join([f"{folder.as_posix()} is not as it was made:", *found.faults])
    return (
        f"{found.images} images and {found.labels} labels agree; {len(found.made_again)} images "
        "made again are the same, byte for byte; no scene is in two splits"
    )


def dry_figures(plan: Plan, found: Dry) -> dict[str, object]:
    """Give what a plan would make, for machines."""
    return {
        "dry_run": True,
        "images": {name: found.images[name] for name in SPLITS},
        "good": {name: found.good[name] for name in SPLITS},
        "scenes": {name: len(found.scenes[name]) for name in SPLITS},
        "faults": {
            kind.name: {name: found.faults[kind.name, name] for name in SPLITS}
            for kind in plan.faults.kinds
        },
        "left_out": dict(sorted(found.left_out.items())),
        "images_with_fewer_faults": list(found.short),
        "bytes": need_bytes(plan),
    }


def dry_text(plan: Plan, found: Dry) -> str:
    """Say what a plan would make."""
    return "\n".join(
        [
            plan.title,
            f"{plan.count} images, some {need_bytes(plan) / 1e6:.3g} MB; nothing was written",
            "",
            *_table(plan, found),
            *dry_notes(plan, found),
            "",
            *paragraphs([MACHINERY]),
        ]
    )


def _table(plan: Plan, found: Dry) -> Iterator[str]:
    """Count images, scenes and faults by split."""
    kinds = [kind.name for kind in plan.faults.kinds]
    faulty = {name: found.images[name] - found.good[name] - found.bare[name] for name in SPLITS}
    rows: list[tuple[str, list[int]]] = [
        ("images", [found.images[name] for name in SPLITS]),
        ("  good", [found.good[name] for name in SPLITS]),
        ("  with faults", [faulty[name] for name in SPLITS]),
        *(
            [("  no room for any", [found.bare[name] for name in SPLITS])]
            if any(found.bare.values())
            else []
        ),
        ("scenes", [len(found.scenes[name]) for name in SPLITS]),
        *((kind, [found.faults[kind, name] for name in SPLITS]) for kind in kinds),
    ]
    wide = max(len(label) for label, _ in rows)
    yield f"{'':<{wide}}" + "".join(f"{name:>9}" for name in (*SPLITS, "all"))
    for label, cells in rows:
        yield f"{label:<{wide}}" + "".join(f"{cell:>9}" for cell in (*cells, sum(cells)))


def dry_notes(plan: Plan, found: Dry) -> Iterator[str]:
    """Say what of a plan its author may not have meant."""
    if found.short:
        some = ", ".join(map(str, found.short[:_MOST_LISTED]))
        more = " …" if len(found.short) > _MOST_LISTED else ""
        yield (
            f"faults for which there was no room are left out of {len(found.short)} of "
            f"{plan.count} images: {some}{more}; their records say so"
        )
        for kind, why in found.why.items():
            yield from paragraphs([f"{kind}: {found.left_out[kind]} left out; {why}"])
    bare = [name for name in SPLITS if plan.splits[name] > 0 and not found.images[name]]
    for name in bare:
        yield f"{name} has no image: expected more images, or a smaller scenes.images_each"
    yield from paragraphs(_hidden(plan))


def _hidden(plan: Plan) -> Iterator[str]:
    """Say that no lamp stands where it would show relief."""
    raised = [kind.name for kind in plan.faults.kinds if kind.name in RELIEF]
    moved = any(key.endswith("arrangement") for span in plan.spans for key in span.axis.keys)
    if raised and not moved and all(each.arrangement not in PLACED for each in plan.base.lights):
        yield (
            f'{", ".join(raised)}: light from everywhere (light.arrangement "even") shows next to '
            'nothing of relief; expected a lamp that stands somewhere, arrangement = "line"'
        )
