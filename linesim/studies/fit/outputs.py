"""What a fit leaves on disk: the fitted setup, which runs, what changed, and all figures."""

from pathlib import Path

from linesim.figures.safety import MACHINERY
from linesim.files.atomic import write_json, write_text
from linesim.files.csv_out import write_csv
from linesim.setup.resolve import resolved_text
from linesim.studies.fit.found import Fitted
from linesim.studies.fit.words import answer

FITTED = "fitted.toml"
"""The fitted setup; a run of the setup itself writes its own as setup.toml into the same folder."""


def fit_json(found: Fitted) -> dict[str, object]:
    """Give a fit as fit.json has it."""
    return {**found.as_dict(), "answer": answer(found), "machinery": MACHINERY}


def write_fit(found: Fitted, folder: Path) -> tuple[Path, ...]:
    """Write the fitted setup, the changes and the figures."""
    setup, changes, figures = (folder / name for name in (FITTED, "changes.csv", "fit.json"))
    write_text(setup, resolved_text(found.after, folder))
    rows = [
        [each.name, each.unit, each.before, each.interval.value, each.interval.low,
         each.interval.high, "no" if each.is_as_set_up else "yes"]
        for each in found.found
    ]  # fmt: skip
    rows += [[each.name, "", "", "", "", "", "not told"] for each in found.left]
    head = ("key", "unit", "set_up", "fitted", "low_95", "high_95", "changed")
    write_csv(changes, head, rows)
    write_json(figures, fit_json(found))
    return setup, changes, figures
