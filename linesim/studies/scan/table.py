"""The console's table of a scan: its budget, and what was measured on the image."""

from linesim.report.rows import measured_rows
from linesim.report.table import budget_text, row_lines
from linesim.studies.scan.streamed import FiledScan
from linesim.studies.scan.study import Scan


def scan_text(found: Scan | FiledScan) -> str:
    """
    Lay a scan's figures out for the console.

    Returns
    -------
    str; the budget, and what was measured on the image
    """
    measured = row_lines(measured_rows(found.measured))
    return "\n".join(
        [budget_text(found.setup, found.budget), "", "measured on the image", *measured]
    )
