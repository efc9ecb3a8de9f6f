"""What a new user opens first has an answer: starter and sample setups ask for something."""

import tomllib
from pathlib import Path

import pytest

from linesim.figures.budget import budget
from linesim.figures.verdicts import worst_state
from linesim.setup.infiles import starter_text
from linesim.setup.load import load_setup, sample_setup, setup_from
from linesim.setup.setup import Setup

SAMPLES = Path(__file__).parents[2] / "sample_targets"
# plans and spaces, which are no setups
OTHERS = ("_set.toml", "_space.toml")
SETUPS = sorted(path for path in SAMPLES.glob("*.toml") if not path.name.endswith(OTHERS))
SAYS_SO = (" too ", "half the detail")


def asks(setup: Setup) -> bool:
    """Tell whether a setup asks for more than that it can run."""
    need = setup.requirement
    return bool(setup.smallest_defect_um or need.snr)


@pytest.mark.parametrize("path", SETUPS, ids=lambda path: path.stem)
def test_a_sample_meets_what_it_asks_or_says_why_not(path: Path) -> None:
    """Its title has the words of what is wrong exactly where something is missed."""
    setup = load_setup(path)
    assert asks(setup)
    says_so = any(words in setup.title for words in SAYS_SO)
    assert (worst_state(budget(setup).verdicts) != "met") == says_so


def test_starter_and_built_in_sample_meet_what_they_ask() -> None:
    """Both are of a station that works, on a target as wide as the line sees."""
    for setup in (setup_from(tomllib.loads(starter_text())), sample_setup()):
        assert asks(setup)
        assert worst_state(budget(setup).verdicts) == "met"
