"""Cautions about faults with relief: what is too narrow for slopes to count, and what clips."""

import numpy as np

from linesim.figures.case import Case, Found, values
from linesim.figures.plain_numbers import digits, percent
from linesim.figures.reliefs import WAVES


def relief_cautions(case: Case) -> Found:
    """Tell where a fault with relief is too narrow for its slopes to count, or its flash clips."""
    need = case.setup.requirement.defect_relief
    if need is None:
        return
    least_um = WAVES * float(np.max(case.numbers.optics.wavelength_um))
    if need.width_um < least_um:
        text = (
            f"The {need.kind} of {digits(need.width_um)} um is narrower than ten wavelengths, "
            f"{digits(least_um)} um: diffraction spreads its light more widely than its slopes "
            "say, so its contrast may be another."
        )
        yield "relief_waves", text
    change = case.groups["detection"].get("defect_contrast")
    if change is None:
        return
    peak = 1 + max(values(change))
    share = peak * case.figure("signal", "electrons_product") / _limit_e(case)
    if peak > 1 and share > 1:
        text = (
            f"The {need.kind} flashes up to {percent(share)} of the nearest limit and is cut "
            "off there: it is found all the same, but by less than its figures say."
        )
        yield "flash_clips", text


def _limit_e(case: Case) -> float:
    return min(float(np.min(limit)) for limit in case.numbers.limits_e.values())
