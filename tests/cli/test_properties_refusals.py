"""Random broken setups on the command line: exit 2, sentences, and not one file left behind."""

import sys
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from linesim.cli import main

Texts = dict[str, dict[str, Any]]
Stations = st.SearchStrategy[Texts]

FAULTS: dict[str, list[Any]] = {
    "transport.speed": ["60", "60 kg", "-1 m/s", "1,5 m/s", 3],
    "lens.f_number": [0, "4", float("inf")],
    "camera.pixels": [0, 2.5, 10**7],
    "camera.bit_depth": [9, "12"],
    "acquisition.binning": ["5x1", "2"],
    "acquisition.exposure": ["long", 7],
    "target.image": ["nothing.png", "dge"],
    "light.spectrum": ["LED-B9", "none.csv"],
    "camera.sensor": ["large"],
    "requirement.snr": [-5, "40"],
}
COMMANDS = (
    ["budget"],
    ["budget", "--json"],
    ["scan", "--out", "there"],
    ["scan", "--json"],
    ["compare"],
    ["vary", "lens.f_number=2:8:log3"],
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.data(),
    faults=st.lists(st.sampled_from(sorted(FAULTS)), min_size=1, max_size=4, unique=True),
    command=st.sampled_from(COMMANDS),
)
def test_a_broken_setup_leaves_sentences_and_nothing_else(
    any_station: Stations,
    data: st.DataObject,
    faults: list[str],
    command: list[str],
    tmp_path_factory: pytest.TempPathFactory,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whatever is wrong, and with several faults at once: all keys told, no traceback, no file."""
    texts = data.draw(any_station)
    for dotted in faults:
        section, key = dotted.split(".")
        texts[section][key] = data.draw(st.sampled_from(FAULTS[dotted]))
    folder: Path = tmp_path_factory.mktemp("broken")
    (folder / "setup.toml").write_text(tomli_w.dumps(texts), "utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(sys, "argv", ["linesim", command[0], "setup.toml", *command[1:]])
        with pytest.raises(SystemExit) as end:
            main()
    told = capsys.readouterr()
    assert end.value.code == 2
    assert told.out == ""
    lines = told.err.splitlines()
    assert all(line.startswith("linesim: ") and line.isprintable() for line in lines)
    assert "Traceback" not in told.err
    for dotted in faults:
        assert any(line.startswith(f"linesim: {dotted}") for line in lines), told.err
    assert [each.name for each in folder.rglob("*")] == ["setup.toml"]
