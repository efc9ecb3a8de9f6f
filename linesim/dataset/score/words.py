"""What a score says in words, on the console and on the page."""

from collections.abc import Iterator

from linesim.dataset.score.groups import Group
from linesim.dataset.score.study import Score
from linesim.report.console import wrapped

TITLES = {
    "kind": "By kind",
    "dprime": "By d'",
    "size": "By size (diameter of a disc of the fault's area)",
    "contrast": "By contrast",
    "station": "By station",
}
HEADS = ("", "labels", "found", "95 %", "filter", "at most")
_MOST_MISSED = 10


def percent(share: float | None) -> str:
    """Write a share."""
    return "-" if share is None else f"{100 * share:.0f} %"


def cells(group: Group) -> tuple[str, ...]:
    """Write a group's figures in the order of the heads."""
    ends = group.interval
    return (
        group.name,
        str(group.count),
        percent(group.recall),
        "-" if ends is None else f"{100 * ends[0]:.0f} to {100 * ends[1]:.0f}",
        percent(group.linear),
        percent(group.most),
    )


def summary(found: Score) -> tuple[str, ...]:
    """Say what a detector is worth, a sentence each."""
    hits = sum(each.found for each in found.faults)
    linear = sum(each.linear for each in found.faults) / max(len(found.faults), 1)
    most = sum(each.most for each in found.faults) / max(len(found.faults), 1)
    chosen = "asked for" if found.rule.least_score is not None else "with the best F1"
    counted = (
        f"{hits} of {len(found.faults)} labels found ({percent(found.recall)}) in {found.images} "
        f"images of {' and '.join(found.splits)}, at {found.false_alarms} false alarms on "
        f"{found.area_m2:.3g} m² ({found.alarms_per_m2:.3g} a m²): boxes from a score of "
        f"{found.least_score:.3g} on, the one {chosen}, whose intersection over union "
        f"with a fault of their kind is {found.rule.limit:g} or more."
    )
    average = (
        f"Average precision {found.precision_at_limit:.3f} at an intersection over union of 0.5, "
        f"{found.mean_precision:.3f} over 0.5 to 0.95."
    )
    bound = (
        "At as many false alarms a matched filter that does not know the place finds "
        f"{percent(linear)} before the product's texture; the camera's noise alone would let "
        f"{percent(most)} be found, and nobody finds more."
    )
    return counted, average, bound


def explained() -> tuple[str, ...]:
    """Say what the columns mean."""
    text = (
        '"95 %": where the share lies in 95 of 100 such sets. "filter": what the best linear '
        "filter finds before the product's texture, by the d' of each label and as many false "
        'alarms; a network that has learnt the texture may find more. "at most": the same against '
        "the camera's noise alone, which no detector passes but by chance or by knowing where "
        "faults lie."
    )
    return (text,)


def missed_rows(found: Score) -> Iterator[tuple[str, ...]]:
    """List the plainest faults that were not found."""
    for each in found.missed[:_MOST_MISSED]:
        left, top, wide, high = each.bbox
        yield (
            f"{each.index:06d}",
            each.kind,
            f"{left}, {top}",
            f"{wide} x {high}",
            f"{100 * each.contrast:+.0f} %",
            f"{each.dprime:.1f}",
        )


def lines(found: Score) -> Iterator[str]:
    """Write a score for the console."""
    yield found.title
    for each in summary(found):
        yield from wrapped(each)
    for name in ("kind", "dprime"):
        yield ""
        yield TITLES[name]
        rows = [HEADS, *(cells(each) for each in found.groups[name])]
        wide = max(len(row[0]) for row in rows)
        for row in rows:
            yield f"{row[0]:<{wide}}" + "".join(f"{cell:>10}" for cell in row[1:])
    yield ""
    for each in explained():
        yield from wrapped(each)
