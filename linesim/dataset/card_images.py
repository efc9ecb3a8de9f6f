"""The parts of a card that say how the images of a set come about, and where they lie."""

from linesim.dataset.export.loaders import GOOD, SEVERAL, UNSEEN
from linesim.dataset.plan.plan import Plan
from linesim.dataset.sums import Sums

_MOST_LAWS = 8


def short_words(found: Sums) -> str:
    """Say how many images lack faults for want of room."""
    short = sum(found.short.values())
    if not short:
        return ""
    return (
        f" {short} images have fewer faults than were drawn for them, for want of room; `left_out` "
        "in their records names those."
    )


def sample_words(plan: Plan, found: Sums) -> str:
    """Say how the numbers of images come about."""
    samples = (
        f"as the camera delivers them: {plan.base.camera.bit_depth} bits, the lowest bits of the "
        "file's; a 12-bit image looks black in most viewers. `bit_depth` and `full_scale_dn` of "
        "each are in `manifest.csv`."
    )
    if not found.laws:
        return f"Images are the samples {samples}"
    kept = f"\n\n`samples/` holds the samples {samples}" if plan.images.has_samples else ""
    return f"{_law_words(plan, found)}{kept}"


def _law_words(plan: Plan, found: Sums) -> str:
    """Give both numbers of each law; of many, that they are in the manifest."""
    full = 2**plan.images.stretch_bits - 1
    head = (
        f"Images have {plan.images.stretch_bits} bits, for eyes and trainers: v = {full} (DN - "
        "black) / (white - black), cut at both ends."
    )
    if plan.images.stretch == "image" or len(found.laws) > _MOST_LAWS:
        return f"{head} `black_dn` and `white_dn` of each image are in `manifest.csv`."
    rows = "".join(
        f"| {black_dn:g} | {white_dn:.6g} | {count} |\n"
        for (black_dn, white_dn, _), count in sorted(found.laws.items())
    )
    return (
        f"{head} Black is the camera's black level, white what the product's brightest part gives "
        "at the brightest ends of all ranges, full scale at most; brightness can be compared "
        "between images of one law. Each mode of the camera has its own:\n\n"
        f"| black, DN | white, DN | images |\n|---|---|---|\n{rows}"
    ).rstrip()


def picture_rows(plan: Plan) -> str:
    """List the files of images."""
    ending = "png" if plan.images.format == "png" else "tif"
    if plan.images.stretch == "none":
        return f"| `images/SPLIT/N.{ending}` | the scan, as delivered |\n"
    kept = f"| `samples/SPLIT/N.{ending}` | the scan, as delivered |\n"
    stretched = "| `images/SPLIT/N.png` | the scan, stretched to be looked at |\n"
    return stretched + (kept if plan.images.has_samples else "")


def loader_rows(plan: Plan) -> str:
    """List the files that loaders read."""
    rows = "| `images/SPLIT/metadata.jsonl` | a line of JSON an image: what it is, its boxes |\n"
    data = "| `data.yaml` | where the images of each split are, and the classes |\n"
    folders = (
        f"| `folders/images/SPLIT/KIND/N.png` | the images again, by kind: `{GOOD}` without "
        f"faults, `{SEVERAL}` with labels of several kinds, `{UNSEEN}` with faults that have no "
        "label; masks in `folders/masks/` |\n"
    )
    shards = "| `shards/SPLIT-N.tar` | the images again: N.png, N.mask.png, N.json in turn |\n"
    tables = "| `shards/SPLIT-N.parquet` | the images again: a row each, mask and boxes beside |\n"
    return (
        rows
        + (data if plan.labels.box_files else "")
        + (folders if plan.images.folders else "")
        + (shards if plan.images.shard_images else "")
        + (tables if plan.images.parquet_images else "")
    )
