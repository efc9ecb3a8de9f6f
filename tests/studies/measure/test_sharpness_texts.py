"""What is printed of edges, bars, detection and agreement, letter for letter, of made figures."""

import re
from typing import Any

import numpy as np
import pytest

from linesim.files.samples_in import Samples
from linesim.metrics.bars.figures import BarFigures
from linesim.metrics.edge.bootstrap import EdgeUncertainty
from linesim.metrics.edge.figures import EdgeResponse
from linesim.metrics.edge.line import EdgeLine
from linesim.metrics.flat.noise import Estimate
from linesim.metrics.region import Region
from linesim.setup.load import changed, sample_setup
from linesim.studies.measure.against.agreement import Agreement, Difference
from linesim.studies.measure.against.geometry import Geometry
from linesim.studies.measure.against.table import text as agreement_text
from linesim.studies.measure.bars.layout import MeasuredSet
from linesim.studies.measure.bars.study import MeasuredBars
from linesim.studies.measure.bars.table import text as bars_text
from linesim.studies.measure.detection.study import Injection
from linesim.studies.measure.detection.table import Trial
from linesim.studies.measure.detection.table import text as detection_text
from linesim.studies.measure.edge.study import MeasuredEdge
from linesim.studies.measure.edge.table import text as edge_text
from linesim.studies.measure.sharpness_input import Plane

ONE = np.ones(1)
PLANE = Plane(
    values=ONE,
    limits=(0, 4095),
    name="a.tif",
    channel="grey",
    encoding="linear",
    samples=Samples(
        image_dn=np.zeros((20, 50), np.uint16),
        full_scale_dn=4095,
        bit_depth=12,
        depth_from="as stated",
        cautions=(),
    ),
)


def known(value: float, sd: float = 0.0) -> Estimate:
    """Make an estimate."""
    return Estimate(value=value, sd=sd)


def rows(text: str) -> dict[str, str]:
    """Give the rows by their labels: what stands between the headline and the notes."""
    found: dict[str, str] = {}
    label = ""
    for line in text.split("\n\n")[1].splitlines():
        label = line[2:28].strip() or label
        found[label] = f"{found.get(label, '')} {line[28:]}".strip()
    return found


def edge_of(direction: Any) -> MeasuredEdge:  # noqa: ANN401 -- one of two words
    """Make an edge on samples 75 µm apart across and 60 µm along."""
    return MeasuredEdge(
        response=EdgeResponse(
            direction=direction, angle_deg=5.0, mtf50_cyc_px=0.3, mtf10_cyc_px=None,
            mtf_nyquist=0.2, rise_10_90_px=1.5, overshoot=0.04, frequency_cyc_px=ONE, mtf=ONE,
            position_px=ONE, edge_spread=ONE, half_width_px=9.0, edge_length_px=110,
            scatter_px=0.0, step=200.0, noise=4.0, mtf_noise=0.0, pitch=1.0,
            line=EdgeLine(column_px=0, slope=0, first_row=0, last_row=1, scatter_px=0),
            levels=(50.0, 250.0),
        ),
        sd=EdgeUncertainty(
            mtf50_cyc_px=0.012, mtf10_cyc_px=None, mtf_nyquist=0.01, rise_10_90_px=0.05, mtf=ONE,
            blocks=11, resamplings=300,
        ),
        region=Region(x=1, y=2, width=30, height=40),
        places=(9, 4),
        pixel_pitch_um=(75.0, 60.0),
        plane=PLANE,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("direction", "lp_mm", "nyquist", "rise_um", "unit"),
    [
        ("across", "4.00 ± 0.16", "6.667", "112.5 ± 3.8", "lines"),  # over 75 um
        ("along", "5.00 ± 0.20", "8.333", "90.0 ± 3.0", "columns"),  # over 60 um
    ],
)
def test_an_edge_is_told_with_its_units(
    direction: str, lp_mm: str, nyquist: str, rise_um: str, unit: str
) -> None:
    """0.3 ± 0.012 cycles/px and 1.5 ± 0.05 px, on the target by the pitch of that direction."""
    text = edge_text(edge_of(direction))
    assert text.startswith(
        "edge of a.tif\n"
        "  region 1,2,30,40 (found, 4 of 9 places tried could be measured); 12 bit (as stated)\n\n"
    )
    assert rows(text) == {
        "edge": f"light changes {direction}, +5.00° off the axis, 110 {unit} long",
        "levels": "50 and 250 DN, noise 4 DN, step over noise 50",
        "MTF50": f"0.300 ± 0.012 cycles/px, {lp_mm} lp/mm on the target",
        "MTF10": "not reached: the response stays above 10 % up to the end of the curve",
        "MTF at Nyquist": f"0.200 ± 0.010 at 0.5 cycles/px, {nyquist} lp/mm",
        "rise from 10 % to 90 %": f"1.500 ± 0.050 px, {rise_um} um on the target",
        "overshoot": "4.0% of the step",
    }


def bars_of(name: str, cycles: float, contrast: float) -> MeasuredSet:
    """Make a group of bars, 60 µm a sample."""
    return MeasuredSet(
        name=name,
        alternates="along",
        frequency_cyc_px=cycles,
        pitch_um=60.0,
        figures=BarFigures(
            contrast=known(contrast, 0.01), mtf=known(0.9 * contrast, 0.02), depth=1.0, centre_px=0
        ),
        expected_mtf=0.888,
        expected_contrast=0.777,
    )


def test_bars_are_told_with_their_units() -> None:
    """A period of 10 px of 60 µm is 1.667 lp/mm with bars of 300 µm; 0.15 misses 0.2."""
    found = MeasuredBars(
        sets=(bars_of("0/1", 0.1, 0.8), bars_of("1/1", 0.2, 0.15)),
        contrast=0.2,
        plane=PLANE,
        from_setup=True,
    )
    text = bars_text(found)
    assert text.startswith("bars of a.tif\n  groups placed by the setup; 12 bit (as stated)\n\n")
    heading, head, first, second, finest = text.split("\n\n")[1].splitlines()
    assert heading == "light changes along"
    assert re.split(r"\s{2,}", head.strip()) == [
        "group", "lp/mm", "bar um", "cycles/px", "contrast", "closed form", "MTF", "closed form",
    ]  # fmt: skip
    assert [re.split(r"\s{2,}", line.strip()) for line in (first, second)] == [
        ["0/1", "1.667", "300", "0.1000", "0.800 ± 0.010", "0.777", "0.720 ± 0.020", "0.888"],
        ["1/1", "3.333", "150", "0.2000", "0.150 ± 0.010", "0.777", "0.135 ± 0.020", "0.888"],
    ]
    assert finest == ("  finest with a contrast of 0.2 or more: 0/1, 1.667 lp/mm, bars of 300 um")


def test_detection_is_told_with_its_units() -> None:
    """3 of 4 found over 2.5 where 70 % were told, √(0.7 x 0.3/4); d' is 2 over a spread of 1."""
    found = Injection(
        with_defect=np.array([1.0, 2.0, 3.0]), without=np.array([-1.0, 0.0, 1.0]),
        best=np.array([2.0, 3.0, 4.0, 5.0]), each_dprime=np.array([1.9, 1.9]), closed_dprime=2.1,
        threshold=2.5, closed_rate=0.7, peaks=31, closed_peaks=32,
    )  # fmt: skip
    setup = changed(sample_setup(), {"requirement.smallest_defect": "300 um"})
    text = detection_text(Trial(setup=setup, channels=(found,)))
    assert text.splitlines()[0] == ("search for 4 discs of 300 um, darker than the product by 20 %")
    told = rows(f"\n\n{text.partition(chr(10))[2]}")
    assert told["discs found"] == "75.00 ± 22.91 %; closed form 70.00 %"
    assert told["alarm from"] == "2.5 sigma on, place not known"
    assert re.fullmatch(r"2\.\d+ ± \d\.\d+; closed form 2\.1", told["d', place known"])
    assert told["area under the ROC curve"].endswith("; mean of Φ(d'/√2) 0.91045")  # Φ(1.3435)
    assert told["places on the pixel grid"] == "2, d' from 1.9 to 1.9"
    assert told["peaks of noise"] == "31 over a lower threshold; closed form 32"


def test_an_agreement_is_told_with_its_units() -> None:
    """Off is what differs by over 4 standard errors and over 1 %."""
    predicted = {
        "electrons_white": (1000, 900, 10),
        "noise_white_e": (50, 51, 1),
        "snr_white": (20, 21, 2),
        "mtf50_x_lp_mm": (6, 6.003, 0.0001),
        "mtf50_y_lp_mm": (4, 5, 0.1),
    }
    found = Agreement(
        name="a.tif",
        differences={
            "grey": tuple(
                Difference(name=name, predicted=told, measured=known(seen, sd))
                for name, (told, seen, sd) in predicted.items()
            )
        },
        geometry=Geometry(
            figures={
                "shift_along_px": known(1.25, 0.01),
                "shift_across_px": known(-2.5, 0.01),
                "scale_along": known(1.01, 0.0001),
                "scale_across": known(1.0, 0.2),
                "rotation_deg": known(0.3, 0.01),
                "shear_deg": known(-0.1, 0.01),
            },
            skew_deg=-0.1,
            mirrored="across",
            first_column=0,
            untold=("scale_across",),
        ),
        explanations=("Skew: as it is.",),
        findings=(),
        detailed=False,
    )
    lines = [re.split(r"\s{2,}", line.strip()) for line in agreement_text(found, "A").splitlines()]
    assert lines[:16] == [
        ["image against prediction: A"],
        ["predicted", "measured", "difference", "sigma"],
        ["signal on white", "1000 e", "900 ± 10", "-10.0%", "-10.0", "OFF"],
        ["noise at equal signal", "50 e", "51.0 ± 1.0", "+2.0%", "+1.0"],
        ["SNR on white", "20", "21.0 ± 2.0", "+5.0%", "+0.5"],
        ["MTF50 across", "6 lp/mm", "6.00300 ± 0.00010", "+0.0%", "+30.0"],
        ["MTF50 along", "4 lp/mm", "5.00 ± 0.10", "+25.0%", "+10.0", "OFF"],
        [""],
        ["how the image lies"],
        ["shift along", "1.250 ± 0.010 lines"],
        ["shift across", "-2.500 ± 0.010 columns"],
        ["lines for a length", "1.01000 ± 0.00010 of those predicted"],
        ["columns for a length", "not told by this target"],
        ["turn of the target", "0.300 ± 0.010 degrees"],
        ["skew of the line", "-0.100 ± 0.010 degrees more"],
        ["mirrored", "across"],
    ]
