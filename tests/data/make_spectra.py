"""
Make the light tables in ``linesim/setup/data`` from the CIE data that colour-science carries.

Source: CIE 1924 photopic observer, 1 nm, as published; CIE standard illuminants A, D50, D65, E
and the FL and LED illuminants of CIE 15, published every 5 nm.
Program: colour-science 0.4.7, whose ``align`` brings the illuminants to 1 nm in straight lines
between the published points (it holds illuminants with a linear interpolator).
Precision: V to every published digit (10 significant digits hold them all); illuminants rounded
to 7 significant digits, a relative error of at most 5e-7.

Run from the repository root: ``python tests/data/make_spectra.py``.
"""

import warnings
from pathlib import Path

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # tells of optional packages that are not needed here
    import colour

DATA = Path(__file__).parents[2] / "linesim" / "setup" / "data"
OBSERVER = "CIE 1924 Photopic Standard Observer"
LED = (*(f"LED-B{number}" for number in range(1, 6)), "LED-BH1", "LED-RGB1", "LED-V1", "LED-V2")
NAMES = ("A", "D50", "D65", "E", "FL2", "FL11", *LED)
MADE = f"made with colour-science {colour.__version__} by tests/data/make_spectra.py"


def write_observer() -> None:
    """Write V at every whole nanometre from 360 to 830."""
    curve = colour.SDS_LEFS[OBSERVER]
    table = np.column_stack([curve.wavelengths, curve.values])
    head = f"# {OBSERVER}, V(wavelength), 360-830 nm\n# {MADE}\nwavelength_nm,v"
    path = DATA / "photopic_observer.csv"
    np.savetxt(path, table, fmt=["%d", "%.10g"], delimiter=",", header=head, comments="")


def write_illuminants() -> None:
    """Write the relative power of every illuminant at every whole nanometre from 380 to 780."""
    shape = colour.SpectralShape(380, 780, 1)
    columns = [colour.SDS_ILLUMINANTS[name].copy().align(shape).values for name in NAMES]
    table = np.column_stack([shape.wavelengths, *columns])
    head = (
        "# CIE illuminants, relative spectral power, 380-780 nm, 5 nm tables brought to 1 nm"
        f" in straight lines, 7 significant digits\n# {MADE}\nwavelength_nm,{','.join(NAMES)}"
    )
    form = ["%d"] + ["%.7g"] * len(NAMES)
    path = DATA / "illuminants.csv"
    np.savetxt(path, table, fmt=form, delimiter=",", header=head, comments="")


if __name__ == "__main__":
    write_observer()
    write_illuminants()
