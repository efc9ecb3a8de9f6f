"""The console's tables: figures by group with their units, cautions and verdicts in plain words."""

from linesim.figures.budget import Budget
from linesim.figures.safety import MACHINERY
from linesim.report.console import wrapped
from linesim.report.judged_rows import judged_rows
from linesim.report.rows import Row, figure_rows
from linesim.report.verdict_words import STATES, summary
from linesim.setup.channels import COLOURS
from linesim.setup.setup import Setup

_LABEL_WIDTH = 28
_STATE_WIDTH = 12


def _paragraph(head: str, text: str) -> list[str]:
    return wrapped(f"{head}{text}", "  ", "      ")


def row_lines(rows: tuple[Row, ...]) -> list[str]:
    """Lay rows out."""
    return [line for row in rows for line in _wrapped(row)]


def _wrapped(row: Row) -> list[str]:
    label = "" if row.colour in COLOURS[1:] else row.label
    head = f"  {label:<{_LABEL_WIDTH}}{f'{row.colour:<6}' if row.colour else ''}"
    return wrapped(row.text, head, " " * len(head))


def _verdict_lines(setup: Setup, found: Budget) -> list[str]:
    rest = " " * (_STATE_WIDTH + 2)
    return [
        line
        for row in judged_rows(setup, found)
        for line in wrapped(
            f"{row.label}: {row.text} ({row.margin})",
            f"  {STATES[row.state]:<{_STATE_WIDTH}}",
            rest,
        )
    ]


def budget_text(setup: Setup, found: Budget) -> str:
    """Lay a budget out for the console."""
    lines = [*wrapped(setup.title), *wrapped(summary(setup, found.verdicts))]
    for name, rows in figure_rows(setup, found).items():
        lines += ["", name, *row_lines(rows)]
    lines += ["", "verdicts", *_verdict_lines(setup, found)]
    lines += ["", "cautions"]
    for caution in found.cautions:
        lines += _paragraph(f"{caution.code}: ", caution.text)
    return "\n".join([*lines, *_paragraph("", MACHINERY)])
