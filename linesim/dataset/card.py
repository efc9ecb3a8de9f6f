"""The card of a data set: what is in it, how it was made, what it is not."""

import re
from pathlib import Path

from linesim.dataset.able import states_in_words
from linesim.dataset.background.words import head_words, limit_words
from linesim.dataset.card_images import loader_rows, picture_rows, sample_words, short_words
from linesim.dataset.layout import CARD, SHEET
from linesim.dataset.people import plan_people
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.splits import SPLITS
from linesim.dataset.sums import Sums, bars
from linesim.figures.safety import MACHINERY
from linesim.files.atomic import write_text
from linesim.workers.tasks import versions

_MARKS = re.compile(r"[\\`*_\[\]<>&#!|~$]")


def write_card(plan: Plan, folder: Path, found: Sums) -> None:
    """Write the card."""
    parts = (
        _head(plan),
        _what(plan, found),
        _kinds(plan, found),
        _figures(found),
        _files(plan),
        _labels(plan),
        _varied(plan),
        _not(plan),
        _again(found),
    )
    write_text(folder / CARD, "\n\n".join(parts) + "\n")


def _plain(text: str) -> str:
    """Escape what Markdown or HTML would take for markup (CommonMark, backslash escapes)."""
    return _MARKS.sub(r"\\\g<0>", text)


def _head(plan: Plan) -> str:
    return (
        f"# {_plain(plan.title)}\n\n{head_words(plan)}\n\n"
        f"![Some of the images, with the outlines of their labels]({SHEET})"
    )


def _what(plan: Plan, found: Sums) -> str:
    rows = [
        f"| {split} | {found.images[split]} | {found.good[split]} | "
        f"{found.images[split] - found.good[split]} | {len(found.scenes[split])} |"
        for split in SPLITS
    ]
    sizes = ", ".join(f"{w} x {h} ({n})" for (w, h), n in sorted(found.sizes.items())[:8])
    more = " and others" if len(found.sizes) > 8 else ""  # noqa: PLR2004 -- a line of text
    return (
        "## What is in it\n\n"
        "| split | images | without faults | with faults | scenes |\n|---|---|---|---|---|\n"
        + "\n".join(rows)
        + "\n\nImages without faults are there on purpose. Splits are by scene, the piece of "
        f"product that images are taken from: none is shared by two. Scenes: {_scenes(plan)}.\n\n"
        f"Width x lines, with their number: {sizes}{more}.{short_words(found)}{_able(found)}\n\n"
        f"{sample_words(plan, found)}"
    )


def _able(found: Sums) -> str:
    """Warn of images that no such station could have taken."""
    counts = (sum(each.values()) for each in (found.images, found.stuck, found.clipped))
    said = "; ".join(states_in_words(*counts))
    return f"\n\n{said}; `states` in each image's record says which." if said else ""


def _scenes(plan: Plan) -> str:
    if plan.scenes.real:
        return f"{len(plan.scenes.files)} scans, taken as free of faults and left as they are"
    if plan.scenes.files:
        return f"{len(plan.scenes.files)} image files, taken as free of faults"
    return f'drawn, "{plan.scenes.kind}", each from a seed of its own, free of faults'


def _kinds(plan: Plan, found: Sums) -> str:
    names = [
        kind for kind in plan.faults.kinds if any(name == kind.name for name, _ in found.labels)
    ]
    rows = [
        f"| {kind.class_id} | {kind.name} | "
        + " | ".join(
            f"{found.labels[kind.name, split]} ({found.visible[kind.name, split]})"
            for split in SPLITS
        )
        + f" | {found.unlabelled[kind.name]} |"
        for kind in names
    ]
    return (
        "## Labels by kind\n\nIn brackets, how many of them are visible.\n\n"
        "| class | kind | train | val | test | drawn, not labelled |\n|---|---|---|---|---|---|\n"
        + "\n".join(rows)
    )


def _figures(found: Sums) -> str:
    return (
        "## How strong, how large\n\n"
        "All labels, by d' (how surely they stand out of noise and texture):\n\n"
        "```text\n" + "\n".join(bars(found.octaves["dprime"])) + "\n```\n\n"
        "and by samples in their mask:\n\n"
        "```text\n" + "\n".join(bars(found.octaves["area_px"])) + "\n```"
    )


def _files(plan: Plan) -> str:
    boxes = (
        "| `labels/SPLIT/N.txt` | boxes as text, a line each: class as its line in "
        "`labels/classes.txt` from 0, middle and size as shares; an empty file for an image "
        "without labels |\n"
        if plan.labels.box_files
        else ""
    )
    return (
        "## Files\n\n| file | what |\n|---|---|\n"
        f"{picture_rows(plan)}"
        "| `masks/SPLIT/N.png` | 8 bit: 0 good, else class + 1 |\n"
        "| `annotations/SPLIT.json` | COCO instances; category = class + 1, ids from 1, file names "
        "from `images/SPLIT/` |\n"
        + boxes
        + loader_rows(plan)
        + "| `images.csv` | good or defect, by image |\n"
        "| `faults.csv` | each fault drawn, labelled or not: size, place, contrast, CNR, d' |\n"
        "| `manifest.csv` | each image: seed, hash of its station, everything drawn |\n"
        "| `records/SPLIT/N.json` | the same of one image; all tables are made of these |\n"
        "| `plan.toml`, `setup.toml`, `set.json` | what the set was made from, and with which "
        "versions |"
    )


def _labels(plan: Plan) -> str:
    rule = plan.labels
    cnr = f" and CNR is {rule.least_cnr:g} or more" if rule.least_cnr else ""
    only = " Faults that are not visible have no label." if rule.only_visible else ""
    return (
        "## What a label says\n\n"
        "A fault's mask on the target goes through the same sampling as the image: pixel, travel "
        "while exposed, line timing, skew, ripple and binning; the lens is left out, for a label "
        "says where the fault is, not how far its light strays. "
        "A sample belongs to the fault where the share of its footprint that is covered is "
        f"{rule.threshold:g} or more of the fault's most covered sample's. A sample belongs to "
        "one fault, the one on top. A fault that covers less than "
        f"{rule.least_cover_px:g} samples in all, or of which no signal is left "
        f"(`camera_dprime` under {rule.least_camera_dprime:g}), has no label.{only} `area` and "
        "`bbox` are those of that mask.\n\n"
        f"`visible` is true where d' is {rule.least_dprime:g} or more{cnr}. d' is the index "
        "of the best linear filter for a fault whose place and shape are known, against the "
        "camera's noise and the product's texture; `camera_dprime` leaves the texture out: what "
        "the camera allows at best. `cnr` is the root "
        "mean square of the fault's signal over its mask, over the noise of a sample; `contrast` "
        "its mean as a share of the product's own signal there."
    )


def _varied(plan: Plan) -> str:
    if not plan.spans:
        return "## What varies\n\nThe station is the same for all images."
    rows = [f"| `{span.name}` | {_said(span.name, plan)} |" for span in plan.spans]
    return "## What varies\n\n| key | drawn from |\n|---|---|\n" + "\n".join(rows)


def _said(name: str, plan: Plan) -> str:
    span = next(each for each in plan.spans if each.name == name)
    first, last = span.axis.points[0].label, span.axis.points[-1].label
    if span.between is not None:
        return f"{first} to {last}, equal {'ratios' if span.log else 'steps'} equally likely"
    return ", ".join(_plain(point.label) for point in span.axis.points)


def _not(plan: Plan) -> str:
    return (
        "## What it is not\n\n"
        + "".join(f"* {_plain(each)}\n" for each in limit_words(plan))
        + "* What the model of lens, transport and camera leaves out is left out here too.\n"
        + "".join(f"* {each.line}\n" for each in plan_people(plan))
        + f"* {MACHINERY}"
    )


def _again(found: Sums) -> str:
    used = ", ".join(f"{name} {number}" for name, number in versions().items())
    for device, torch in found.rendered_on:
        used += f", images by torch {torch} on {device}"
    return (
        "## To make it again\n\n"
        f"Made with {used}. With the same versions on the same kind of processor every file comes "
        "out the same, byte for byte, whatever the number of workers:\n\n"
        "```sh\nlinesim dataset plan.toml --out again\nlinesim dataset --verify .\n```"
    )
