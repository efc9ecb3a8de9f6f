"""How variants are made: line rate in step, one strip, exposure as asked, refusals in sentences."""

from pathlib import Path

import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.resolve import resolved_text
from linesim.setup.setup import Setup
from linesim.studies.compare.set_texts import changes_of
from linesim.studies.compare.variants import (
    BINNINGS,
    Variant,
    alike,
    binning_variants,
    file_variants,
    set_variants,
)
from tests.stations import plain_setup

BASE = plain_setup(
    "Variants",
    target={"width": "5 mm", "height": "6 mm"},
    light={"illuminance": "4 klx"},
    camera={"pixels": 48, "read_noise": "20 e"},
)


def figures(variants: tuple[Variant, ...], group: str, name: str) -> list[float]:
    """One figure of each variant."""
    return [float(budget(one.setup)[group][name]) for one in variants]


def modes(
    setup: Setup = BASE, *, exposure: str | None = None, keep_line_rate: bool = False
) -> tuple[Variant, ...]:
    """Make the four common modes."""
    return binning_variants(setup, BINNINGS, exposure=exposure, keep_line_rate=keep_line_rate)


@pytest.mark.parametrize(
    ("exposure", "rate", "expected"),
    [
        ("same", "own", [1, 2, 2, 4]),
        ("same", "kept", [1, 2, 2, 4]),
        ("full", "own", [1, 2, 4, 8]),
        ("full", "kept", [1, 2, 2, 4]),
        (None, "own", [1, 2, 4, 8]),
    ],
)
def test_electrons_grow_with_area_and_time(
    exposure: str | None, rate: str, expected: list[float]
) -> None:
    """
    Twice the area or twice the time is twice the electrons.

    EMVA 1288 R4.0 RC (March 2021), (3): photons grow with area times exposure; its section 6.4
    counts a binned pixel with the area of all that are joined. The tolerance is rounding.
    """
    electrons = figures(
        modes(exposure=exposure, keep_line_rate=rate == "kept"), "signal", "electrons_white"
    )
    assert [each / electrons[0] for each in electrons] == pytest.approx(expected, rel=1e-9)


def test_taller_pixels_take_half_the_lines() -> None:
    """60 m/min over 75 µm are 13333.3 lines/s, over 150 µm half of it; 6 mm are 80 lines or 40."""
    assert figures(modes(), "geometry", "line_rate_hz") == pytest.approx(
        [13333.333, 13333.333, 6666.667, 6666.667], rel=1e-6
    )
    assert figures(modes(), "geometry", "image_lines") == [80, 80, 40, 40]
    kept = modes(keep_line_rate=True)
    assert figures(kept, "geometry", "image_lines") == [80] * 4
    assert figures(kept, "geometry", "coverage") == pytest.approx([1, 1, 2, 2], rel=1e-9)


@pytest.mark.parametrize(
    "changes",
    [
        {"acquisition.line_rate": "10 kHz"},
        {"transport.trigger": "encoder", "transport.encoder_step": "25 um"},
        {
            "transport.trigger": "encoder",
            "transport.encoder_step": "25 um",
            "transport.encoder_divider": 4,
        },
    ],
    ids=["rate", "encoder", "divider"],
)
def test_a_rate_of_its_own_keeps_step(changes: dict[str, object]) -> None:
    """A rate in Hz, or counts of an encoder, keep their share of the object pixel's height."""
    setup = changed(BASE, changes)
    coverage = budget(setup).number("geometry", "coverage")
    assert figures(modes(setup), "geometry", "coverage") == pytest.approx([coverage] * 4, rel=1e-9)
    rates = figures(modes(setup, keep_line_rate=True), "geometry", "line_rate_hz")
    assert rates == pytest.approx([rates[0]] * 4, rel=1e-9)


def test_joined_lines_are_exposed_at_the_same_rate() -> None:
    """Two successive lines in one: exposed as before, delivered half as often."""
    setup = changed(
        BASE,
        {
            "acquisition.binning_along": "lines",
            "acquisition.binning_domain": "digital",
            "acquisition.line_rate": "10 kHz",
        },
    )
    for keep_line_rate in (False, True):
        found = modes(setup, keep_line_rate=keep_line_rate)
        assert figures(found, "geometry", "line_rate_hz") == pytest.approx(
            [10_000, 10_000, 5000, 5000], rel=1e-9
        )


@pytest.mark.parametrize("strip", [{"lines": 33}, {"length": "2.475 mm"}])
def test_the_strip_is_that_of_the_setup(strip: dict[str, object]) -> None:
    """33 lines of 75 µm are 2.475 mm: 16 lines of 150 µm lie on them, whatever is listed first."""
    setup = changed(BASE, {f"acquisition.{key}": value for key, value in strip.items()})
    found = binning_variants(setup, ("2x2", "1x1"))
    assert figures(found, "geometry", "image_lines") == [16, 33]


def test_a_domain_may_follow_the_mode() -> None:
    """Charge is read once, numbers once a pixel; a title names the domain where pixels join."""
    found = binning_variants(BASE, ("1x1", "2x2 charge", "2x2 digital"))
    assert [one.title for one in found] == ["1x1", "2x2 charge", "2x2 digital"]
    _, charge, digital = figures(found, "camera", "dark_noise_e")
    assert (charge, digital) == (20.0, 40.0)  # √4 reads of 20 e


def test_a_longer_time_than_the_period_is_told() -> None:
    """The first variant's time is taken as it is; where it does not fit, the caution says so."""
    found = binning_variants(BASE, ("2x2", "1x1"), exposure="same", keep_line_rate=False)
    assert figures(found, "exposure", "exposure_us") == pytest.approx([150, 150], rel=1e-9)
    codes = [[caution.code for caution in budget(one.setup).cautions] for one in found]
    assert ["exposure_over_period" in each for each in codes] == [False, True]


def test_changed_keys_stand_beside_the_setup() -> None:
    """Several keys in one variant; the setup itself comes first."""
    found = set_variants(
        BASE, ["light.illuminance=20 klx; lens.f_number=2.8", "transport.speed=30 m/min"]
    )
    assert [one.title for one in found] == [
        "as it is",
        "illuminance 20 klx, f_number 2.8",
        "speed 30 m/min",
    ]
    assert found[0].setup == BASE
    assert found[1].setup == changed(BASE, {"light.illuminance": "20 klx", "lens.f_number": 2.8})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("lens.f_number=2.8", {"lens.f_number": 2.8}),
        ("acquisition.flat_field = true", {"acquisition.flat_field": True}),
        ('title="a; b=c" ; light.flicker=0', {"title": "a; b=c", "light.flicker": 0}),
        ('light.spectrum={ peak = "600 nm", width = "40 nm" }',
         {"light.spectrum": {"peak": "600 nm", "width": "40 nm"}}),
        ("lens.magnification=; lens.field_of_view=40 mm",
         {"lens.magnification": None, "lens.field_of_view": "40 mm"}),
    ],
)  # fmt: skip
def test_values_are_toml_or_bare_texts(text: str, expected: dict[str, object]) -> None:
    """Numbers, truths, quoted texts and tables as in the file; the rest is a text as it stands."""
    assert changes_of(text) == expected


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        (["5x1"], 'variant "5x1": acquisition.binning: read "5x1", but this is not two factors'),
        (["2x2 both"], 'acquisition.binning_domain: read "both"'),
        ([""], 'variant "": acquisition.binning: read ""'),
        (["2x2", "2x2 charge"], 'variants: read "2x2 charge" more than once'),
    ],
)
def test_a_mode_that_is_none_is_refused(texts: list[str], says: str) -> None:
    """The variant, the key, what was read and what is expected."""
    with pytest.raises(InputError) as refusal:
        binning_variants(BASE, texts)
    assert says in str(refusal.value)


def test_all_modes_that_a_sensor_lacks_are_told_at_once() -> None:
    """One row of pixels makes neither 1x2 nor 2x2."""
    with pytest.raises(InputError) as refusal:
        modes(changed(BASE, {"camera.rows": 1}))
    told = refusal.value.faults
    assert [fault.partition(":")[0] for fault in told] == ['variant "1x2"', 'variant "2x2"']
    assert all("the sensor has only 1 neighbouring row" in fault for fault in told)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("light.illuminance", 'set: read "light.illuminance", but this is no key=value'),
        ("=3", 'set: read "=3", but this is no key=value'),
        ("", 'set: read "", but this is no key=value'),
        ("lens.f_number=2; lens.f_number=4", "but this key stands twice"),
        ("lens.fnumber=2", "lens.fnumber: read 2, but there is no such key; did you mean"),
        ("lens.fnumber=", "no value takes a key out, and there is no such key"),
        ("light.illuminance=20", "light.illuminance: read 20, but a bare number has no unit"),
        ("acquisition.lines=30", "acquisition.lines: all variants see the strip of the setup"),
        ("target.width=9 mm", 'target.width: read "9 mm", but the first variant has "5 mm"'),
        ("target.image=edge", 'target.image: read "edge", but the first variant has "flat"'),
    ],
)
def test_a_change_that_cannot_be_is_refused(text: str, says: str) -> None:
    """What was read, why not, and what is expected."""
    with pytest.raises(InputError) as refusal:
        set_variants(BASE, [text])
    assert says in str(refusal.value)


def test_another_exposure_word_is_refused() -> None:
    """Only the two words, or none."""
    with pytest.raises(InputError, match='exposure: read "long", but expected "same" or "full"'):
        modes(exposure="long")


def test_a_first_variant_that_cannot_run_is_refused() -> None:
    """Others take their time from the first; without one there is none to take."""
    setup = changed(BASE, {"camera.dead_time": "1 ms"})
    with pytest.raises(InputError, match=r'variant "1x1": camera\.dead_time'):
        modes(setup, exposure="same")


def test_files_are_variants_by_their_names(tmp_path: Path) -> None:
    """The strip is the first file's; two files of one name go by their paths."""
    for name, binning in (("a.toml", "1x1"), ("b.toml", "2x2"), ("more/a.toml", "2x1")):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        made = changed(BASE, {"acquisition.binning": binning, "acquisition.lines": 40})
        (tmp_path / name).write_text(resolved_text(made, tmp_path), "utf-8")
    two = file_variants([tmp_path / "a.toml", tmp_path / "b.toml"])
    assert [one.title for one in two] == ["a", "b"]
    assert figures(two, "geometry", "image_lines") == [40, 20]
    twins = [tmp_path / "a.toml", tmp_path / "more/a.toml"]
    assert [one.title for one in file_variants(twins)] == [path.as_posix() for path in twins]
    with pytest.raises(InputError, match="more than once"):
        file_variants([twins[0], twins[0]])


def test_variants_of_a_file_see_the_same_file(tmp_path: Path) -> None:
    """An image is the same where it is the same file, whatever it is called from its folder."""
    image = tmp_path / "piece.png"
    image.write_bytes(b"not read here")
    (tmp_path / "in").mkdir()
    texts = {**BASE.texts, "target": {"image": "piece.png", "pixel_size": "20 um"}}
    here = setup_from(texts, tmp_path)
    below = setup_from(
        {**texts, "target": {"image": "../piece.png", "pixel_size": "20 um"}}, tmp_path / "in"
    )
    pair = [Variant(title="a", setup=here), Variant(title="b", setup=below)]
    assert len(alike(here, pair)) == 2
