"""A small share of tests/bench/preview_abuse.py: it answers, stays small, and serves no file."""

import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest

SCRIPT = Path(__file__).parents[1] / "bench" / "preview_abuse.py"


@pytest.fixture(scope="module")
def abuse() -> ModuleType:
    """Load the script."""
    spec = spec_from_file_location("preview_abuse", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    found = module_from_spec(spec)
    sys.modules[spec.name] = found  # its dataclasses look themselves up
    spec.loader.exec_module(found)
    return found


@pytest.mark.nightly
def test_it_stands_abuse(abuse: ModuleType) -> None:
    """
    Tabs at random, harmful files, questions from elsewhere: each gets its answer, or none.

    The files that unpack to 4 GB would show in the memory of the process, which is read at its
    highest.
    """
    with abuse.preview() as page:
        abuse.storm(page, tabs=8, events=40, seconds=2)
        assert set(page.said) <= {"picture", "faults", "waiting", "superseded"}
        assert page.said["picture"] > 0
        assert page.said["faults"] > 0
        assert abuse.unharmed(page) == []
        assert page.most_mb < abuse.MOST_MB
