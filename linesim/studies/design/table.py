"""A design on the console."""

from textwrap import fill

from linesim.report.console import WIDTH, paragraphs
from linesim.studies.design.outputs import cautions
from linesim.studies.design.purchase import Lines, reasons, to_buy
from linesim.studies.design.study import Design
from linesim.studies.design.words import answer, first_limits

_LABEL = 14


def design_text(found: Design) -> str:
    """Put a design into lines for the console."""
    best = found.best
    blocks = [found.job.title, "\n".join(fill(text, WIDTH) for text in answer(found))]
    if best is not None:
        blocks += [
            _block("why", reasons(found.job, best)),
            _block("to buy", to_buy(best)),
            "what limits first\n" + "\n".join(f"  {text}" for text in first_limits(best)),
        ]
    return "\n\n".join([*blocks, "\n".join(["cautions", *paragraphs(cautions(found))])])


def _block(title: str, lines: Lines) -> str:
    """Set what, value and why in columns."""
    wide = max(_LABEL, *(len(what) + 2 for what, _, _ in lines))
    rows = []
    for what, value, why in lines:
        head = f"  {what:<{wide}}{value}"
        rows.append(fill(f"{head}: {why}", WIDTH, subsequent_indent=" " * (wide + 4)))
    return "\n".join([title, *rows])
