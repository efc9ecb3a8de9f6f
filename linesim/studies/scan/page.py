"""The report of a scan: one page with pictures, drawings, figures, verdicts and cautions."""

from pathlib import Path

from linesim.forward.reference import Reference
from linesim.report.first_page import first_parts
from linesim.report.judged_rows import outcome
from linesim.report.page import WHOLE, Wanted, write_pages
from linesim.report.page_parts import Page, Section
from linesim.report.page_sections import (
    Case,
    caution_section,
    figure_section,
    geometry_section,
    job_section,
    requirement_section,
    side_sections,
    signal_sections,
)
from linesim.report.rows import measured_rows
from linesim.report.setup_tables import making_section, setup_section
from linesim.studies.scan.before_after import before_after
from linesim.studies.scan.study import Scan
from linesim.targets.faces.faced import lit_reference
from linesim.targets.load import target_reference


def write_scan_report(found: Scan, folder: Path, wanted: Wanted = WHOLE) -> tuple[Path, ...]:
    """Write the report of a scan, its first page alone, or both, beside its other files."""
    return write_pages(folder, scan_page(found), wanted)


def scan_page(found: Scan, reference: Reference | None = None) -> Page:
    """Make the report of a scan of a target; left out, that of the setup."""
    setup = found.setup
    case = Case(title="", setup=setup, budget=found.budget)
    source = lit_reference(setup, target_reference(setup) if reference is None else reference)
    whole, *close = before_after(found, source)
    return Page(
        title=setup.title,
        job="Simulated line scan",
        outcome=(outcome(setup, found.budget),),
        first=(whole, *first_parts(setup, found.budget)),
        sections=(
            requirement_section(setup, found.budget),
            *((Section("A closer look", tuple(close)),) if close else ()),
            job_section(setup),
            *side_sections(case),
            caution_section(case),
            geometry_section(setup),
            *signal_sections(setup, found.budget),
            figure_section(setup, found.budget, measured_rows(found.measured)),
            setup_section(setup),
            making_section(setup, f"linesim scan setup.toml --seed {found.seed} --report"),
        ),
    )
