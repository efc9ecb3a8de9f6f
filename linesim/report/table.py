"""The console's tables: figures by group with their units, cautions and verdicts in plain words."""

import textwrap

from linesim.budget.budget import Budget
from linesim.budget.safety import MACHINERY
from linesim.report.rows import Row, figure_rows, judged_rows, measured_rows
from linesim.setup.channels import COLOURS
from linesim.study.scan import Scan
from linesim.study.streamed import FiledScan

_WIDTH = 100
_LABEL_WIDTH = 28


def _paragraph(head: str, text: str) -> list[str]:
    return textwrap.wrap(f"{head}{text}", _WIDTH, initial_indent="  ", subsequent_indent="      ")


def _lines(rows: tuple[Row, ...]) -> list[str]:
    """Lay rows out; a label stands before the first of its colours alone."""
    return [
        f"  {'' if row.colour in COLOURS[1:] else row.label:<{_LABEL_WIDTH}}"
        f"{f'{row.colour:<6}' if row.colour else ''}{row.text}"
        for row in rows
    ]


def _verdict_lines(found: Budget) -> list[str]:
    return [
        f"  {'met' if row.met else 'MISSED':<7}{row.label}: {row.text} ({row.margin})"
        for row in judged_rows(found)
    ]


def budget_text(title: str, found: Budget) -> str:
    """
    Lay a budget out for the console.

    Parameters
    ----------
    title : str
        Of the setup.
    found : Budget
        Figures, cautions, verdicts.

    Returns
    -------
    str
        Lines of at most 100 characters, but for long names.
    """
    lines = textwrap.wrap(title, _WIDTH)
    for name, rows in figure_rows(found).items():
        lines += ["", name, *_lines(rows)]
    if found.verdicts:
        lines += ["", "requirements", *_verdict_lines(found)]
    lines += ["", "cautions"]
    for caution in found.cautions:
        lines += _paragraph(f"{caution.code}: ", caution.text)
    return "\n".join([*lines, *_paragraph("", MACHINERY)])


def scan_text(found: Scan | FiledScan) -> str:
    """
    Lay a scan's figures out for the console.

    Parameters
    ----------
    found : Scan
        The scan.

    Returns
    -------
    str
        The budget, and what was measured on the image.
    """
    measured = _lines(measured_rows(found))
    return "\n".join(
        [budget_text(found.setup.title, found.budget), "", "measured on the image", *measured]
    )
