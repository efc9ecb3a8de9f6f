"""A space of set-ups is read value by value; whatever is wrong is told at once, in sentences."""

from pathlib import Path
from typing import Any

import pytest

from linesim.setup.errors import InputError
from linesim.setup.load import load_setup
from linesim.studies.rank.space import load_space, space_from

ROOT = Path(__file__).parents[3]
LENS = {"lens.f_number": [2.8, 4]}
GOOD: dict[str, Any] = {"options": LENS}


def test_the_sample_space() -> None:
    """The space that is shipped: choices first, then options in the order of the file."""
    space = load_space(ROOT / "sample_targets" / "foil_space.toml")
    assert space.shape == (2, 4, 4, 40, 4, 3)
    assert space.axes[0].name == "camera"
    assert space.base.requirement.snr == 40
    wanted = {each.requirement: each.wanted for each in space.limits}
    assert wanted["saturation"] == 0.9
    dim = load_setup(ROOT / "sample_targets" / "foil_dim.toml")
    assert space.base.target == dim.target
    last = space.setup(space.count - 1)
    assert (last.camera.pixel_width_um, last.lens.f_number) == (7.5, 8.0)
    assert last.light.illuminance_lx == pytest.approx(100_000)
    assert last.acquisition.exposure == "full"


def test_keys_may_stand_in_quotes_or_nested() -> None:
    """TOML nests a dotted key unless it is quoted; both are one key, and one value is a list."""
    quoted = space_from({"options": {"lens.f_number": [4], "light.illuminance": "9 klx"}})
    nested = space_from({"options": {"lens": {"f_number": 4}, "light": {"illuminance": ["9 klx"]}}})
    assert quoted.axes == nested.axes


def test_numbers_stay_together_and_words_stand_alone() -> None:
    """Numbers are worked out as one array; "full" among times stands alone."""
    space = space_from({"options": {"acquisition.exposure": ["10 us", "full", "30 us"]}})
    assert space.axes[0].part == [0, 1, 0]
    assert space.axes[0].parts == 2


def test_the_other_of_a_pair_is_taken_out() -> None:
    """A field of view takes the base's magnification away, and watts its lux."""
    space = space_from(
        {"options": {"lens.field_of_view": ["80 mm"], "light.irradiance": ["90 W/m^2"]}}
    )
    setup = space.setup(0)
    assert (setup.lens.magnification, setup.light.illuminance_lx) == (None, None)


def test_share_of_the_exposure() -> None:
    """exposure_share times the longest exposure; 1 leaves "full", whatever the base has."""
    space = space_from({"options": {"exposure_share": [0.25, 1]}})
    # 60 m/min over an object pixel of 75 um: 75 us
    assert space.setup(0).acquisition.exposure == pytest.approx(18.75, rel=1e-12)
    assert space.setup(1).acquisition.exposure == "full"


REFUSALS: dict[str, tuple[dict[str, Any], str]] = {
    "unknown key": ({"option": {}, **GOOD}, "option: read {}, but there is no such key; did you"),
    "nothing": ({}, "options: nothing was read, but at least one key"),
    "empty list": ({"options": {"lens.f_number": []}}, "options.lens.f_number: read an empty list"),
    "no such key": ({"options": {"lens.f_numbr": [4]}},
     "options.lens.f_numbr: read 4, but there is no such key; did you mean lens.f_number?"),
    "no such section": ({"options": {"lense": {"f_number": [4]}}}, "options.lense: read {"),
    "wrong kind": ({"options": {"transport.speed": [60]}},
     "options.transport.speed: read 60, but a bare number has no unit; expected a speed"),
    "out of range": ({"options": {"lens.f_number": [0.1]}}, "read 0.1, but this is outside 0.5 to"),
    "twice": ({"options": {"lens.f_number": [4, 5.6, 4]}}, 'f_number: read "4" twice; expected'),
    "bad range": ({"options": {"light.illuminance": "5 klx:200 klx:40"}},
     'options.light.illuminance: read "5 klx:200 klx:40", but this is no range'),
    "share": ({"options": {"exposure_share": [1.5]}}, "exposure_share: read 1.5, but this is out"),
    "share and time": ({"options": {"exposure_share": [0.5], "acquisition.exposure": ["9 us"]}},
     "options: read acquisition.exposure in exposure_share and in acquisition.exposure"),
    "both of a pair": ({"options": {"lens.magnification": [0.1], "lens.field_of_view": ["80 mm"]}},
     "options: read lens.magnification and lens.field_of_view, but only one of the two"),
    "a requirement": ({"options": {"requirement.snr": [30]}},
     "options.requirement.snr: read 30, but requirements stand in [requirement]"),
    "the title": ({"options": {"title": ["a"]}}, 'options.title: read "a", but this is nothing to'),
    "no table": ({"options": [1]}, "options: read [1], but expected [options] and its keys"),
    "requirement": ({**GOOD, "requirement": {"snrr": 3}},
     "requirement.snrr: read 3, but there is no such key; did you mean requirement.snr?"),
    "requirement is a number": ({**GOOD, "requirement": 3}, "requirement: read 3, but expected ["),
    "limit": ({**GOOD, "limits": {"most_iradiance": "9 W/m^2"}},
     'limits.most_iradiance: read "9 W/m^2", but there is no such key; did you mean limits.most'),
    "limit without unit": ({**GOOD, "limits": {"most_irradiance": 900}},
     "limits.most_irradiance: read 900, but a bare number has no unit"),
    "limits is a list": ({**GOOD, "limits": []}, "limits: read [], but expected [limits] and its"),
    "choice without labels": ({"choices": {"camera": {}}},
     "choices.camera: read {}, but expected labels with keys, for example [choices.camera."),
    "choice without keys": ({"choices": {"camera": {"4k": 4096}}},
     "choices.camera.4k: read 4096, but expected keys with a value"),
    "choice with a bad value": ({"choices": {"camera": {"4k": {"camera": {"pixels": "4k"}}}}},
     'choices.camera.4k: camera.pixels: read "4k", but this is a text'),
    "title": ({**GOOD, "title": 3}, "title: read 3, but this is not a text; expected a title"),
    "setup": ({**GOOD, "setup": 3}, "setup: read 3, but expected a setup file"),
    "too many": (
     {"options": {"light.illuminance": "1 klx:9 klx:log2000",
       "transport.speed": "1 m/min:90 m/min:lin1001"}},
     "options: read 2000 x 1001 = 2002000 options, but at most 2000000 are judged at once"),
    "too many words": (
     {"options": {"lens.field_of_view": "50 mm:90 mm:lin900", "camera.tdi_stages": [1, 2, 4]}},
     "options: read 2700 combinations of lens.field_of_view, camera.tdi_stages, but of these"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSALS)
def test_refusals(case: str) -> None:
    """Each fault is one sentence that names the key, what was read and what is expected."""
    texts, told = REFUSALS[case]
    with pytest.raises(InputError) as refusal:
        space_from(texts)
    assert any(told in fault for fault in refusal.value.faults), refusal.value.faults


def test_all_faults_at_once() -> None:
    """Four faults in four tables: four sentences."""
    texts = {
        "option": 1,
        "options": {"lens.f_number": ["a"]},
        "requirement": {"snr": "b"},
        "limits": {"most_saturation": 2},
    }
    with pytest.raises(InputError) as refusal:
        space_from(texts)
    assert len(refusal.value.faults) == 4


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "is empty"),
        (b"options = ", "cannot be read as TOML"),
        (b"title = '\xff'", "byte 10 is not UTF-8"),
        (b"a = " + 9000 * b"[", "brackets stand within brackets without end"),
        (b"a = " + 5000 * b"9", "a number has thousands of digits"),
        (b"#" * 1_000_001, "is far too large"),
    ],
)
def test_files_that_are_none(data: bytes, told: str, tmp_path: Path) -> None:
    """A file that is no TOML is refused with its name."""
    path = tmp_path / "space.toml"
    path.write_bytes(data)
    with pytest.raises(InputError, match=told):
        load_space(path)


def test_a_missing_base_is_looked_for_beside_the_space(tmp_path: Path) -> None:
    """The base's name is relative to the space's own folder."""
    path = tmp_path / "space.toml"
    path.write_text('setup = "bse.toml"\noptions = { lens = { f_number = [4] } }\n', "utf-8")
    (tmp_path / "base.toml").write_text("x", "utf-8")
    with pytest.raises(InputError, match=r'does not exist \(the nearest name .* "base.toml"'):
        load_space(path)
