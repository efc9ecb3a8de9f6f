"""What people read of a ranking, word for word."""

from dataclasses import replace
from typing import Any

import pytest

from linesim.studies.rank.page import rank_page
from linesim.studies.rank.space import space_from
from linesim.studies.rank.study import Ranking, rank
from linesim.studies.rank.table import rank_text
from linesim.studies.rank.words import answer, percent

SPACE: dict[str, Any] = {
    "title": "Which lens?",
    "options": {
        "lens.f_number": [4, 8],
        "light.illuminance": ["20 klx", "60 klx"],
        "transport.speed": ["30 m/min", "60 m/min"],
    },
    "requirement": {"snr": 20},
    "limits": {"most_irradiance": "100 W/m^2", "least_depth_of_field": "5 mm"},
}


@pytest.fixture(scope="module")
def found() -> Ranking:
    """Rank eight options around the built-in sample: one of them passes."""
    return rank(space_from(SPACE))


def test_the_table_word_for_word(found: Ranking) -> None:
    """
    1024 pixels of 75 um at 0.5 m/s are 0.0384 m²/s; 2 c N (1+m)/m² of 7.5 um, 4 and 0.1 is 6.6 mm.

    60 klx of the sample's LED are 189 W/m², 47 % too much; at twice the speed 16 of 20 are left
    of the SNR, which is 20 % too little.
    """
    lines = rank_text(found).splitlines()
    assert lines[:13] == [
        "Which lens?",
        "",
        "8 options (2 x 2 x 2), 1 meet every demand",
        "  lens.f_number: 4, 8",
        "  light.illuminance: 20 klx, 60 klx",
        "  transport.speed: 30 m/min, 60 m/min",
        "",
        "the best 1: each with its least light, then most web a second",
        "          f                            web      SNR     of  depth  finds",
        "     number  illuminance     speed    m²/s  product  limit     mm     um",
        "  1       4       20 klx  30 m/min  0.0384     25.8   0.14    6.6    184",
        "",
        "best trade-offs of light, speed and defect size (1 of 1)",
    ]
    place = lines.index("why the others are out: the first demand that each misses")
    assert lines[place + 1 : place + 3] == [
        "  light over your limit                                   4        50 %  nearest: by 47 %",
        "  SNR on the product too low                              3        38 %  nearest: by 20 %",
    ]


def test_the_answer_word_for_word(found: Ranking) -> None:
    """One of eight is 12 %; what was reached stands before what was wanted."""
    assert answer(found) == (
        "Yes: 1 of 8 options (12 %) meet every demand.",
        "Least light: f/4, 20 klx, 30 m/min.",
        (
            "It reaches SNR on the product 25.8 (20 wanted); defects found from 184 um diameter "
            "(300 um wanted); brightest part at 14 % of its limit; 0.0384 m²/s of web."
        ),
        "It takes the least light on offer: a range that starts lower may do as well.",
    )


def test_no_word_for_word() -> None:
    """Asked for an SNR of 60, 25.85 misses by 57 %."""
    strict = {**SPACE, "requirement": {"snr": 60}}
    assert answer(rank(space_from(strict))) == (
        "No: of 8 options none meets every demand.",
        (
            "The nearest is f/4, 20 klx, 30 m/min: it meets all that is judged before, and misses "
            "by 57 % (SNR on the product too low)."
        ),
    )


@pytest.mark.usefixtures("undrawn")
def test_the_columns_of_the_page(found: Ranking) -> None:
    """Heads over their own figures, the ends counted where they are worse."""
    (table, front) = rank_page(found).sections[0].parts
    assert table.title == "The best: each with its least light, then most web a second"  # type: ignore[union-attr]
    assert table.head == (  # type: ignore[union-attr]
        "", "f number", "illuminance", "speed", "light, W/m²", "web, m²/s",
        "depth of field, mm", "brightest part of its limit", "SNR on the product", "finds from, um",
    )  # fmt: skip
    cells: tuple[str, ...] = table.rows[0]  # type: ignore[union-attr, assignment]
    assert cells[:4] == ("1", "4", "20 klx", "30 m/min")
    assert cells[7].endswith(" %")
    light, web, depth, over, snr, size = (float(cell.removesuffix(" %")) for cell in cells[4:])
    assert (web, depth) == pytest.approx((0.0384, 6.6), rel=1e-3)
    assert light == pytest.approx(189.3 / 3, rel=2e-3)
    assert (over, snr, size) == pytest.approx((14, 25.85, 184.3), rel=0.02)
    assert front.title.startswith("Best trade-offs")  # type: ignore[union-attr]


def test_the_worse_place_is_told(found: Ranking) -> None:
    """Of SNR the smaller of middle and ends, of sizes the larger."""
    row = found.rows[0]
    ends = {"snr_product_ends": 21.0, "smallest_detectable_um_ends": 250.0}
    uneven = replace(row, figures={**row.figures, **ends})
    assert uneven.worst("snr_product") == 21.0
    assert uneven.largest("smallest_detectable_um") == 250.0
    (_, _, said, *_) = answer(replace(found, rows=(uneven,)))
    assert "SNR on the product 21 (20 wanted); defects found from 250 um diameter" in said


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0004, "under 0.1 %"), (0.25, "25 %"), (0.125, "12 %"), (0.996, "99.6 %"),
        (0.9995, "over 99.9 %"), (1.0, "100 %"), (0.034, "3.4 %"),
    ],
)  # fmt: skip
def test_shares_in_words(share: float, said: str) -> None:
    """Two digits; next to nothing and next to all are never said as such."""
    assert percent(share) == said
