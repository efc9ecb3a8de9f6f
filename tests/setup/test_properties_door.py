"""The door, whatever comes: what it lets in comes out again the same, and the rest is told."""

import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from linesim.setup.errors import InputError
from linesim.setup.infiles import starter_text
from linesim.setup.load import changed, load_setup, setup_from
from linesim.setup.resolve import resolved_text

Texts = dict[str, dict[str, Any]]
Stations = st.SearchStrategy[Texts]

STARTER = tomllib.loads(starter_text())
CURVE = "nm,share\n400,0.2\n500,0.7\n600,0.6\n700,0.3\n"
WRONG: dict[str, list[object]] = {
    "transport.speed": ["60", 60, "60 kg", "-1 m/s", "1,5 m/s", "fast", [1], {"a": 1}, True],
    "transport.trigger": ["Clock", 1, ""],
    "lens.f_number": ["f/4", 0, -4.0, float("nan"), float("inf"), 1e9, True],
    "lens.magnification": ["0.1", 0.0, None],
    "light.illuminance": ["40", "40 W", "1e400 lx", "-5 klx"],
    "light.spectrum": ["LED-B9", "", 5, {"peak": "850 nm"}, {"peak": "850", "width": "40 nm"}],
    "light.ambient": ["5", "5 kg", -1],
    "camera.kind": ["Mono", "rgb", 3],
    "camera.pixels": [0, -3, 1.5, "2048", 10**9, True],
    "camera.pixel_width": ["7.5", "7.5 s", "0 um", "1 km"],
    "camera.row_heights": [[], ["6"], "6 um", ["6 um", 5]],
    "camera.quantum_efficiency": [-0.1, 1.2, "none.csv", {"red": 0.5}, {"cyan": 1}],
    "camera.bit_depth": [9, "12", 12.0, True],
    "camera.black_level": ["-1 DN", "70000 DN", "1 e"],
    "acquisition.binning": ["2", "0x1", "5x1", "2 x 2", 22, "2x2x2"],
    "acquisition.exposure": ["full ", "0 us", 3],
    "acquisition.line_rate": ["fastest", "0 Hz", 8000],
    "acquisition.lines": [0, 1.5, "many", -1],
    "target.image": ["nothing", "nothing.png", "", 3, "../"],
    "target.pixel_size": ["0 um", "20", "20 px"],
    "target.encoding": ["sRGB", "gamma", 2.2],
    "target.colour": ["red"],
    "requirement.snr": ["high", -1, float("nan")],
    "requirement.defect_shape": ["square", 1],
    "title": [3, True],
    "lense": [{}, "x", {"f_number": 4}],
}
BROKEN = st.sampled_from([(key, value) for key, values in WRONG.items() for value in values])


@given(data=st.data())
def test_a_resolved_setup_loads_to_the_same_object(
    any_station: Stations, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Written out and read again, also from another folder: equal, and written the same."""
    setup = setup_from(data.draw(any_station))
    folder = tmp_path_factory.mktemp("resolved")
    (folder / "setup.toml").write_text(resolved_text(setup, folder), "utf-8")
    again = load_setup(folder / "setup.toml")
    assert again == setup
    assert hash(again) == hash(setup)
    assert resolved_text(again, folder) == resolved_text(setup, folder)
    assert changed(again, {}) == setup


@pytest.mark.parametrize(
    "changes",
    [
        {"camera.quantum_efficiency": "qe.csv"},
        {"light.spectrum": "qe.csv", "light.illuminance": None, "light.irradiance": "9 W/m^2"},
        {
            "camera.kind": "prism",
            "camera.quantum_efficiency": {"red": "qe.csv", "green": 0.5, "blue": "sub/qe.csv"},
        },
    ],
    ids=["efficiency", "spectrum", "efficiency of each colour"],
)
def test_files_that_a_resolved_setup_names_are_found(
    changes: dict[str, object], tmp_path: Path
) -> None:
    """A resolved setup in another folder names the same files."""
    (tmp_path / "sub").mkdir()
    for name in ("qe.csv", "sub/qe.csv"):
        (tmp_path / name).write_text(CURVE, "utf-8")
    setup = changed(setup_from(STARTER, tmp_path), changes)
    out = tmp_path / "out" / "deep"
    out.mkdir(parents=True)
    (out / "setup.toml").write_text(resolved_text(setup, out), "utf-8")
    assert load_setup(out / "setup.toml") == setup


def broken(texts: Texts, faults: list[tuple[str, object]]) -> Texts:
    """Put wrong values into a setup."""
    made: dict[str, Any] = deepcopy(texts)
    for dotted, value in faults:
        section, _, key = dotted.partition(".")
        table = made.setdefault(section, {}) if key else made
        if isinstance(table, dict):
            table[key or section] = value
    return made


@given(
    data=st.data(), faults=st.lists(BROKEN, min_size=1, max_size=5, unique_by=lambda each: each[0])
)
def test_every_fault_is_told_in_one_sentence(
    any_station: Stations, data: st.DataObject, faults: list[tuple[str, object]]
) -> None:
    """As many sentences as faults at least, each beginning with a key, saying what is expected."""
    with pytest.raises(InputError) as refusal:
        setup_from(broken(data.draw(any_station), faults))
    told = refusal.value.faults
    for dotted, _ in faults:
        about = [each for each in told if each.startswith(dotted)]
        assert about, (dotted, told)
    assert len(set(told)) == len(told)
    for sentence in told:
        assert "\n" not in sentence
        assert any(word in sentence for word in ("expected", "needed", "no such", "leave one out"))
        assert len(sentence) < 700


PLAIN = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(allow_nan=True, allow_infinity=True),
    st.text(max_size=20),
    st.sampled_from(["7.5 um", "60 m/min", "2x2", "full", "matched", "40 klx", "a.csv", "x.png"]),
)
VALUES = st.one_of(
    PLAIN,
    st.lists(PLAIN, max_size=4),
    st.dictionaries(st.sampled_from(["red", "green", "blue", "peak", "width", "x"]), PLAIN),
)
KEYS = [f"{name}.{key}" for name, each in STARTER.items() if name != "title" for key in each]


@given(changes=st.dictionaries(st.sampled_from([*KEYS, "title", "camera"]), VALUES, max_size=6))
def test_any_values_are_let_in_or_refused(changes: dict[str, object]) -> None:
    """Whatever stands at the keys: a setup, or an InputError; and TOML on disk brings the same."""
    given_texts = broken(STARTER, list(changes.items()))
    try:
        setup = setup_from(given_texts)
    except InputError as refusal:
        told = refusal.faults
    else:
        told = ("let in",)
        assert tomli_w.dumps(dict(setup.texts))
        assert setup_from(setup.texts) == setup
    assert told
    assert all(told)
