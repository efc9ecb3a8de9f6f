"""What a comparison of lamps in several places says of the product and of a fault with relief."""

from dataclasses import replace
from functools import cache

import pytest

from linesim.setup.load import changed, load_setup
from linesim.studies.compare.lights import light_variants
from linesim.studies.compare.sheet import compare_sheet
from linesim.studies.compare.study import Comparison, compare
from linesim.studies.compare.words import answer

SHEET = changed(
    load_setup("sample_targets/sheet_light.toml"),
    {"target.width": "8 mm", "target.height": "6 mm", "camera.pixels": 100},
)


PLACES = ("bright field", "dark field", "even", "back")


@cache
def whole() -> Comparison:
    """Compare all places of the lamp."""
    return compare(SHEET, light_variants(SHEET, PLACES))


def found(*names: str) -> Comparison:
    """Take some places of the lamp out of the comparison, the first to set the others against."""
    return replace(whole(), variants=tuple(whole().variants[PLACES.index(each)] for each in names))


def number(of: Comparison, group: str, name: str) -> list[float]:
    """Give one figure of all variants."""
    return [one.scan.budget.number(group, name) for one in of.variants]


def test_the_answer_tells_how_the_fault_is_seen() -> None:
    """Its change by defect_contrast: as a factor where it flashes, in percent where it is dark."""
    two = found("bright field", "dark field")
    said, conclusion = answer(two)
    bright, dark = number(two, "detection", "defect_contrast")
    assert bright < 0
    assert dark > 1
    assert (
        f"; the groove is {1 + dark:.3g} times as bright as the product, "
        f'with "bright field" {-100 * bright:.3g} % darker; '
    ) in said
    assert "smallest disc" not in said
    assert conclusion.endswith("find the narrowest.")


def test_electrons_are_those_of_the_product() -> None:
    """White is as bright wherever the lamp stands; a face that mirrors is not."""
    two = found("bright field", "dark field")
    white, product = (number(two, "signal", f"electrons_{of}") for of in ("white", "product"))
    assert white[0] == pytest.approx(white[1], rel=1e-9)
    ratio = product[1] / product[0]
    assert f'"dark field" has {ratio:.3g} times the electrons' in answer(two)[0]


def test_what_hardly_shows_and_what_is_not_seen_is_told_so() -> None:
    """Even light loses a groove; through the sheet there is no light to see one by."""
    even, back, _ = answer(found("bright field", "even", "back"))
    assert "; the groove hardly shows: it is 0.0" in even
    assert "; none of less than " in even
    assert back.startswith('"back" shows none of the product, "bright field" at SNR ')
    assert "; no groove is seen, with " in back
    assert back.endswith("; none is found.")


def test_a_first_variant_without_light_is_compared() -> None:
    """Nothing is divided by the SNR of a product that sends nothing back."""
    said, _ = answer(found("back", "bright field"))
    assert said.startswith('"back" shows none of the product, "bright field" at SNR ')


def test_the_sheet_of_lamps_is_drawn() -> None:
    """Each picture says how the fault is seen; black back light does not stop it."""
    assert compare_sheet(found("back", "dark field")).ndim == 3
