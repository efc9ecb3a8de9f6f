"""What a verdict reaches, what it asks and what is to spare, as people write numbers."""

import pytest

from linesim.figures.demands import NEVER
from linesim.figures.verdicts import Verdict, at_least, at_most
from linesim.report.verdict_words import got_and_wanted, spare
from linesim.setup.load import sample_setup


@pytest.mark.parametrize(
    ("verdict", "both", "left"),
    [
        (at_most("smallest_defect", 300, 92), "92 um, 300 um asked", "3.3 times finer"),
        (at_most("smallest_defect", 300, 280), "280 um, 300 um asked", "7.1 % finer"),
        (at_most("smallest_defect", 300, 849), "849 um, 300 um asked", "2.8 times too coarse"),
        (at_most("smallest_defect", 300, NEVER), "none, 300 um asked", "no signal"),
        (at_most("smallest_defect", 89, 5), "5 um, 89 um asked", "17.8 times finer"),
        (at_least("snr", 20, 6.8), "6.8, 20 wanted", "2.9 times too low"),
        (at_least("snr", 20, 22.4), "22.4, 20 wanted", "12 % to spare"),
        (at_least("snr", 20, 18), "18, 20 wanted", "10 % short"),
        (at_least("snr", 20, 19.9999), "19.9999, 20 wanted", "by a hair"),
        (at_least("detection_rate", 0.95, 0.999999), "over 99.99 %, 95 % wanted",
         "over 1000 times fewer lost"),
        (at_least("detection_rate", 0.95, 0.975), "97.5 %, 95 % wanted", "2 times fewer lost"),
        (at_least("detection_rate", 0.95, 0.0), "under 0.01 %, 95 % wanted",
         "20 times too many lost"),
        (at_least("detection_rate", 0.95, 0.94999), "94.999 %, 95 % wanted", "by a hair"),
        (at_most("false_alarms_per_m2", 0.01, 1e-12), "under 1 per km², 0.01 per m² allowed",
         "over 1000 times fewer"),
        (at_most("false_alarms_per_m2", 0.001, 2.3e6), "2.3 million per m², 1 per 1000 m² allowed",
         "over 1000 times too many"),
        (at_most("line_rate", 2e5, 1e5), "100 kHz needed, the camera does 200 kHz",
         "2 times the need"),
        (at_most("exposure", 75, 75), "75 us, the line period leaves 75 us", "just enough"),
        (at_most("link", 110, 182), "182 MB/s of data, the link carries 110 MB/s",
         "1.7 times the limit"),
    ],
)  # fmt: skip
def test_numbers_are_told_as_people_write_them(verdict: Verdict, both: str, left: str) -> None:
    """No exponent, no percent of a large factor, no rounding past what is wanted."""
    assert got_and_wanted(sample_setup(), verdict) == both
    assert spare(sample_setup(), verdict) == left
