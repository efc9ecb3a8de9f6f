"""The page of a score: what was found beside what can be found, and what was missed."""

from collections.abc import Sequence

import numpy as np

from linesim.dataset.score.groups import Group
from linesim.dataset.score.study import Score
from linesim.dataset.score.words import (
    HEADS,
    TITLES,
    cells,
    explained,
    missed_rows,
    percent,
    summary,
)
from linesim.report.page_parts import Facts, Page, Picture, Pictures, Section, Table, Text
from linesim.report.plots import COLOURS, INK, new_figure, svg_text

_AXES = {"dprime": "d'", "size": "diameter, µm", "contrast": "contrast, %"}
_PLOT_MM = (120.0, 70.0)


def score_page(found: Score) -> Page:
    """Make the page of a score."""
    return Page(
        title=found.title,
        job=f"Score of a detector on {' and '.join(found.splits)}, simulated images",
        lead=summary(found),
        sections=(
            Section(
                "Found, and what can be found",
                (
                    _facts(found),
                    Pictures(tuple(_plot(name, found.groups[name]) for name in _AXES)),
                    Text(explained()),
                ),
            ),
            Section("By kind and station", (_kinds(found.groups["kind"]), *_stations(found))),
            Section(
                "By d', size and contrast",
                tuple(_table(name, found.groups[name]) for name in _AXES),
            ),
            *_missed(found),
        ),
    )


def _facts(found: Score) -> Facts:
    return Facts(
        (
            ("found", percent(found.recall), f"of {len(found.faults)} labels"),
            ("false alarms", f"{found.alarms_per_m2:.3g} a m²", f"{found.false_alarms} in all"),
            ("average precision", f"{found.precision_at_limit:.3f}", "limit 0.5"),
            ("average precision", f"{found.mean_precision:.3f}", "limits 0.5 to 0.95"),
        )
    )


def _table(name: str, rows: Sequence[Group]) -> Table:
    return Table(title=TITLES[name], head=HEADS, rows=tuple(cells(each) for each in rows))


def _kinds(rows: Sequence[Group]) -> Table:
    """Set average precision beside what was found of each kind."""
    return Table(
        title=TITLES["kind"],
        head=(*HEADS, "AP at 0.5", "AP"),
        rows=tuple(
            (*cells(each), f"{each.precision_at_limit or 0:.3f}", f"{each.mean_precision or 0:.3f}")
            for each in rows
        ),
    )


def _stations(found: Score) -> tuple[Table, ...]:
    rows = found.groups["station"]
    if not rows:
        return ()
    head = (*HEADS, "images", "false alarms")
    table = tuple((*cells(each), str(each.images), str(each.false_alarms)) for each in rows)
    return (Table(title=TITLES["station"], head=head, rows=table),)


def _missed(found: Score) -> tuple[Section, ...]:
    rows = tuple(missed_rows(found))
    if not rows:
        return ()
    head = ("image", "kind", "left, top", "size, px", "contrast", "d'")
    words = (
        f"{len(found.missed)} labels were not found; these are the plainest of them, worth a look.",
    )
    table = Table(title="", head=head, rows=rows)
    return (Section("Missed", (Text(words), table)),)


def _plot(name: str, groups: Sequence[Group]) -> Picture:
    """Draw the share found over a value, beside what can be found."""
    figure, axes = new_figure(width_mm=_PLOT_MM[0], height_mm=_PLOT_MM[1])
    panel = axes[0, 0]
    some = [each for each in groups if each.count and each.interval is not None]
    middles = [np.sqrt((each.low or 1.0) * (each.high or 1.0)) for each in some]
    shares = np.array([100 * (each.recall or 0.0) for each in some])
    ends = np.array([each.interval or (0.0, 0.0) for each in some]).reshape(-1, 2) * 100
    errors = np.abs(ends.T - shares)
    panel.set_xscale("log")
    panel.errorbar(
        middles, shares, yerr=errors, fmt="o", color=COLOURS[0], capsize=3, label="found, with 95 %"
    )
    for key, style, label in (("linear", "--", "matched filter"), ("most", ":", "at most")):
        values = [100 * float(getattr(each, key) or 0.0) for each in some]
        panel.plot(middles, values, style, color=INK if key == "most" else COLOURS[1], label=label)
    panel.set_ylim(-3, 103)
    panel.set_xlabel(_AXES[name])
    panel.set_ylabel("labels found, %")
    figure.legend(loc="outside upper left", ncols=3, fontsize=8)
    return Picture(
        image=svg_text(figure),
        alt=f"Share of labels found over {_AXES[name]}, beside what can be found",
        caption=f"{TITLES[name]}: a dot for each doubling.",
    )
