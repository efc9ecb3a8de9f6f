"""Per cent, wherever a share is due and nowhere else."""

from pathlib import Path
from typing import get_args

import pytest

from linesim.setup.channels import ByChannelKind, OwnEfficiencyKind
from linesim.setup.fields import Kind, Number
from linesim.setup.lens.over_field import OverFieldKind
from linesim.setup.load import changed, known_keys, sample_setup
from linesim.setup.model import Sections
from linesim.setup.product import ProductKind
from linesim.setup.surface import ShareOrImage

HERE = Path()


def kinds() -> dict[str, Kind]:
    """Find the kind of every key of the setup file."""
    found = {}
    for section in known_keys(()):
        fields = getattr(Sections.model_fields[section].annotation, "model_fields", {})
        for name, field in fields.items():
            inner = [extra for part in get_args(field.annotation) for extra in get_args(part)]
            kind = next(k for k in (*field.metadata, *inner) if isinstance(k, Kind))
            found[f"{section}.{field.alias or name}"] = kind
    return found


def of_each(kind: Kind) -> Kind:
    """Give the kind of one value, where a key takes several."""
    return kind.each if isinstance(kind, ByChannelKind | OverFieldKind) else kind


NUMBERS = {key: each for key, kind in kinds().items() if isinstance(each := of_each(kind), Number)}
SHARES = sorted(key for key, kind in NUMBERS.items() if kind.is_share)
SPECIAL = sorted(
    key
    for key, kind in kinds().items()
    if isinstance(kind, OwnEfficiencyKind | ProductKind | ShareOrImage)
)


def test_the_shares_are_those_that_people_know() -> None:
    """Among the keys that take a share are those that a data sheet or a specification has in %."""
    assert {
        "lens.transmission",
        "lens.distortion",
        "lens.relative_illumination",
        "light.edge_falloff",
        "light.maintenance_factor",
        "target.white_reflectance",
        "camera.prnu",
        "camera.light_share",
        "camera.crosstalk",
        "camera.lag",
        "camera.linearity_error",
        "requirement.defect_contrast",
        "requirement.detection_rate",
    } <= set(SHARES)
    assert SPECIAL == [
        "camera.quantum_efficiency",
        "requirement.product_reflectance",
        "target.gloss",
        "target.transmittance",
    ]


@pytest.mark.parametrize("key", SHARES)
def test_every_share_may_be_in_per_cent(key: str) -> None:
    """At both ends of its range it is the hundredth part, and beyond them it is refused."""
    kind = NUMBERS[key]
    for end in (kind.low, kind.high):
        assert kind.read(f"{100 * end:.12g} %", HERE) == pytest.approx(end, rel=1e-15)
    with pytest.raises(ValueError, match="outside"):
        kind.read(f"{100 * kind.high + 1} %", HERE)


@pytest.mark.parametrize("key", SPECIAL)
def test_a_share_beside_words_and_files_may_be_in_per_cent(key: str) -> None:
    """Where an image, a file or a word may stand too, per cent is told from their names."""
    assert kinds()[key].read("45%", HERE) == 0.45


@pytest.mark.parametrize("key", sorted(set(NUMBERS) - set(SHARES)))
def test_counts_and_ratios_take_no_per_cent(key: str) -> None:
    """A count, an f-number or a magnification is no share of anything."""
    with pytest.raises(ValueError, match=r"a bare (whole )?number is due"):
        NUMBERS[key].checked("50 %", HERE)


def test_a_table_and_a_list_take_it_too() -> None:
    """One a colour, three over the field, and the rms of a texture."""
    setup = changed(
        sample_setup(),
        {
            "lens.relative_illumination": ["100 %", "90 %", "60 %"],
            "requirement.texture": {"rms": "2 %", "correlation": "0.3 mm"},
            "camera.kind": "prism",
            "camera.light_share": {"red": "90 %", "green": 0.9, "blue": "80 %"},
        },
    )
    by_hand = {
        "lens.relative_illumination": [1.0, 0.9, 0.6],
        "requirement.texture": {"rms": 0.02, "correlation": "0.3 mm"},
        "camera.light_share": {"red": 0.9, "green": 0.9, "blue": 0.8},
    }
    assert setup == changed(setup, by_hand)
