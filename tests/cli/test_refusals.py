"""Broken setups, value by value: the key, what was read, what is expected; nothing written."""
# ruff: noqa: E501 -- one broken setup a line, so that the table can be read

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

TITLE = 'title = "Base"'
IMAGE = 'image = "flat"'
SPEED = 'speed = "60 m/min"'
LUX = 'illuminance = "40 klx"'
PIXELS = "pixels = 32"
WIDTH = 'pixel_width = "7.5 um"'
MAGNIFICATION = "magnification = 0.1"
LINES = "lines = 8"


@dataclass(frozen=True)
class Case:
    """One line of the base replaced; what must be named, and a part of what must be said."""

    old: str
    new: str
    names: str
    says: str


SETUPS = (
    # quantities: no unit, wrong unit, no number
    Case(SPEED, "speed = 60", "transport.speed", 'a bare number has no unit; expected a speed, for example "60 m/min"'),
    Case(SPEED, 'speed = "60"', "transport.speed", 'read "60", but the unit is missing'),
    Case(SPEED, 'speed = "60,5 m/min"', "transport.speed", "a comma is not read as a decimal mark, write a point"),
    Case(SPEED, 'speed = "60 kHz"', "transport.speed", "kHz is a unit of another kind; expected a speed"),
    Case(SPEED, 'speed = "60 mm"', "transport.speed", "mm is a unit of another kind"),
    Case(SPEED, 'speed = "60 m/minn"', "transport.speed", "m/minn is not a unit known here"),
    Case(SPEED, 'speed = "-60 m/min"', "transport.speed", "-1000 mm/s is outside 1e-06 to 200000 mm/s"),
    Case(SPEED, 'speed = "0 m/min"', "transport.speed", "0 mm/s is outside"),
    Case(SPEED, 'speed = "1e9 m/min"', "transport.speed", "1.66667e+10 mm/s is outside"),
    Case(SPEED, 'speed = "1e999999999 m/min"', "transport.speed", "out of any physical range"),
    Case(SPEED, 'speed = "nan m/min"', "transport.speed", "this is not a number followed by a unit"),
    Case(SPEED, "speed = inf", "transport.speed", "read inf, but a bare number has no unit"),
    Case(SPEED, 'speed = ""', "transport.speed", 'read "", but this is not a number followed by a unit'),
    Case(SPEED, "speed = true", "transport.speed", "read true, but this is not a text with a unit"),
    Case(SPEED, 'speed = ["60 m/min"]', "transport.speed", 'read ["60 m/min"], but this is not a text'),
    Case(SPEED, 'speed = "60 m/0"', "transport.speed", "m/0 is not a unit known here"),
    Case(SPEED, 'speed = "60 m/min\\u0000"', "transport.speed", r"m/min\x00 is not a unit known here"),
    Case(SPEED, "", "transport.speed", 'nothing was read, but this key is needed, for example "60 m/min"'),
    Case(SPEED, f'{SPEED}\nline_jitter = "-1 um"', "transport.line_jitter", "-1 um is outside 0"),
    Case(SPEED, f"{SPEED}\nspeed_ripple = 1", "transport.speed_ripple", "read 1, but this is outside 0 to 0.9"),
    Case(SPEED, f'{SPEED}\ntrigger = "laser"', "transport.trigger", 'expected "clock" or "encoder"'),
    Case(SPEED, f'{SPEED}\ntrigger = "encoder"', "transport.encoder_step", "needs the travel per count"),
    Case(SPEED, f'{SPEED}\nencoder_step = "20 um"', "transport.trigger", 'expected trigger = "encoder"'),
    Case(SPEED, f"{SPEED}\nencoder_missed_counts = 0.01", "transport.encoder_missed_counts", "a clock has no counts to lose"),
    Case(SPEED, f"{SPEED}\nencoder_missed_counts = 1", "transport.encoder_missed_counts", "outside 0 to 0.5; expected a share of counts"),
    Case(SPEED, f"{SPEED}\nencoder_divider = 2.5", "transport.encoder_divider", "this is not a whole number"),
    # light
    Case(LUX, "illuminance = 40", "light.illuminance", "a bare number has no unit; expected an illuminance"),
    Case(LUX, 'illuminance = "120 W/m^2"', "light.illuminance", "W/m^2 is a unit of another kind"),
    Case(LUX, 'irradiance = "40 klx"', "light.irradiance", 'for example "120 W/m^2"'),
    Case(LUX, 'irradiance = "5 W"', "light.irradiance", "W is a unit of another kind"),
    Case(LUX, 'illuminance = "-1 lx"', "light.illuminance", "-1 lx is outside 0"),
    Case(LUX, f'{LUX}\nirradiance = "3 W/m^2"', "light.illuminance, light.irradiance", "leave one out"),
    Case(LUX, "", "light.illuminance, light.irradiance", "one of the two is needed"),
    Case(LUX, 'iluminance = "40 klx"', "light.iluminance", "did you mean light.illuminance?"),
    Case(LUX, f'{LUX}\nspectrum = {{ peak = "850 nm", width = "40 nm" }}', "light.illuminance", 'expected W/m² instead, for example irradiance = "120 W/m^2"'),
    Case(LUX, f'{LUX}\nspectrum = "led b3"', "light.spectrum", "no light here has that name (nearest: LED-B3)"),
    Case(LUX, f"{LUX}\nspectrum = {{ peak = 520 }}", "light.spectrum.peak", "a bare number has no unit"),
    Case(LUX, f'{LUX}\nspectrum = {{ peak = "520 nm" }}', "light.spectrum.width", "this key is needed"),
    Case(LUX, f'{LUX}\nspectrum = "no.csv"', 'light.spectrum: the file "no.csv"', "does not exist"),
    Case(LUX, f'{LUX}\nspectrum = "empty.csv"', 'light.spectrum: the file "empty.csv"', "is empty (0 bytes)"),
    Case(LUX, f'{LUX}\nspectrum = "comma.csv"', 'light.spectrum: the file "comma.csv"', 'a decimal comma in line 2 ("0,5")'),
    Case(LUX, f'{LUX}\nspectrum = "latin1.csv"', 'light.spectrum: the file "latin1.csv"', "is not UTF-8 text"),
    Case(LUX, f'{LUX}\nspectrum = "dark.csv"', "light.spectrum", "zero throughout"),
    # lens
    Case(MAGNIFICATION, "magnification = -0.1", "lens.magnification", "read -0.1, but this is outside 0.0001 to 100"),
    Case(MAGNIFICATION, "magnification = nan", "lens.magnification", "read nan, but this is outside"),
    Case(MAGNIFICATION, 'magnification = "0.1x"', "lens.magnification", "this is a text, and a bare number is due"),
    Case(MAGNIFICATION, "", "lens.magnification, lens.field_of_view", "for example magnification = 0.1"),
    Case(MAGNIFICATION, f'{MAGNIFICATION}\nfield_of_view = "3 mm"', "lens.field_of_view", 'read 0.1 and "3 mm"'),
    Case(MAGNIFICATION, f"{MAGNIFICATION}\nf_number = 0", "lens.f_number", "this is outside 0.5 to 256; expected an f-number"),
    Case(MAGNIFICATION, f"{MAGNIFICATION}\npupil_magnification = 0", "lens.pupil_magnification", "outside 0.05 to 20; expected a ratio of exit to entrance pupil"),
    Case(MAGNIFICATION, f"{MAGNIFICATION}\ntransmission = 1.1", "lens.transmission", "expected a fraction from 0 to 1"),
    Case(MAGNIFICATION, f'{MAGNIFICATION}\nspeed = "3 m/s"', "lens.speed", "did you mean transport.speed?"),
    # camera
    Case(PIXELS, "pixels = 0", "camera.pixels", "read 0, but this is outside 1 to 131072"),
    Case(PIXELS, "pixels = 1.5", "camera.pixels", "this is not a whole number"),
    Case(PIXELS, 'pixels = "32"', "camera.pixels", "this is a text, and a bare whole number is due"),
    Case(PIXELS, "pixels = 999999999999", "camera.pixels", "outside 1 to 131072"),
    Case(PIXELS, f"pixels = 0x{'f' * 5000}", "camera.pixels", "outside 1 to 131072"),
    Case(PIXELS, f"pixels = {'9' * 5000}", 'setup "s.toml"', "thousands of digits"),
    Case(PIXELS, "Pixels = 32", "camera.Pixels", "did you mean camera.pixels?"),
    Case(PIXELS, f"{PIXELS}\nwells = 4", "camera.wells", "known here are kind, pixels, pixel_width"),
    Case(PIXELS, f"{PIXELS}\ntdi_stages = 0", "camera.tdi_stages", "outside 1 to 1024"),
    Case(PIXELS, f"{PIXELS}\nbit_depth = 9", "camera.bit_depth", "expected 8, 10, 12, 14 or 16"),
    Case(PIXELS, f"{PIXELS}\nbit_depth = 12.0", "camera.bit_depth", "read 12.0, but this is not among the values allowed"),
    Case(PIXELS, f'{PIXELS}\nread_noise = "12 lx"', "camera.read_noise", 'lx is a unit of another kind; expected a number of electrons, for example "12 e"'),
    Case(PIXELS, f'{PIXELS}\nfull_well = "40,000 e"', "camera.full_well", "write a point"),
    Case(PIXELS, f'{PIXELS}\nblack_level = "5000 DN"', "camera.black_level", "full scale is 4095 DN; expected less than half of it"),
    Case(PIXELS, f"{PIXELS}\nblack_level = nan", "camera.black_level", "nan DN is outside 0"),
    Case(PIXELS, f"{PIXELS}\nquantum_efficiency = 60", "camera.quantum_efficiency", "this is outside 0 to 1"),
    Case(PIXELS, f'{PIXELS}\nquantum_efficiency = "sixty"', "camera.quantum_efficiency", "neither a number nor the name of a CSV file"),
    Case(PIXELS, f'{PIXELS}\nquantum_efficiency = "high.csv"', "camera.quantum_efficiency", "it holds a quantum efficiency above 1"),
    Case(PIXELS, f'{PIXELS}\ndead_time = "1 s"', "camera.dead_time", "no time is left to expose"),
    Case(PIXELS, f'{PIXELS}\nlink = "110 Mbit"', "camera.link", 'for example "110 MB/s"'),
    Case(PIXELS, f"{PIXELS}\npattern_seed = -1", "camera.pattern_seed", "read -1, but this is outside 0"),
    Case(WIDTH, 'pixel_width = "0 um"', "camera.pixel_width", "0 um is outside 0.1 to 1000 um"),
    Case("[camera]", "[[camera]]", "camera", "this is no table; expected [camera] and its keys"),
    Case("[camera]", "[camra]", "camra", "did you mean camera?"),
    # acquisition and requirement
    Case(LINES, "lines = 0", "acquisition.lines", "read 0, but this is outside 1"),
    Case(LINES, f'{LINES}\nlength = "3 mm"', "acquisition.lines, acquisition.length", "only one of the two can hold"),
    Case(LINES, f'{LINES}\nline_rate = "fast"', "acquisition.line_rate", 'expected a rate, "matched" or "square", for example "8 kHz"'),
    Case(LINES, f'{LINES}\nexposure = "0 us"', "acquisition.exposure", "0 us is outside 0.001"),
    Case(LINES, f'{LINES}\nbinning = "5x1"', "acquisition.binning", "this is not two factors from 1 to 4"),
    Case(LINES, f'{LINES}\nbinning_domain = "analogue"', "acquisition.binning_domain", 'expected "charge" or "digital"'),
    Case(LINES, f'{LINES}\n[requirement]\nsnr = "40 lx"', "requirement.snr", "expected a signal to noise ratio, for example 40"),
    Case(LINES, f"{LINES}\n[requirement]\nsmallest_defect = 300", "requirement.smallest_defect", "a bare number has no unit"),
    # the file
    Case(TITLE, "", "title", "nothing was read, but this key is needed"),
    Case(TITLE, 'title = " "', "title", "the text is empty"),
    Case(TITLE, 'title = "a\\u001b[31m"', "title", r'read "a\x1b[31m", but it holds'),
    Case(TITLE, 'title = "Base"\nsped = "3 m/s"', "sped", "did you mean transport.speed?"),
    Case(SPEED, "speed = 60 m/min", 'setup "s.toml"', "texts and values with a unit stand in quotes"),
    Case(SPEED, f"{SPEED}\n{SPEED}", 'setup "s.toml"', "each key stands once"),
    Case(SPEED, f"x = {'[' * 5000}", 'setup "s.toml"', "brackets stand within brackets without end"),
)  # fmt: skip


@pytest.mark.parametrize("command", ["scan", "budget"])
@pytest.mark.parametrize("case", SETUPS, ids=lambda case: f"{case.names}: {case.new[-40:]!r}")
def test_setup_is_refused(
    refused: Callable[..., str], here: Path, case: Case, command: str
) -> None:
    """The key or file is named with what was read and what is expected; nothing is made."""
    base = (here / "base.toml").read_text("utf-8")
    assert base.count(case.old) == 1
    (here / "s.toml").write_text(base.replace(case.old, case.new), "utf-8")
    told = refused(command, "s.toml")
    assert all(line.startswith("linesim: ") for line in told.splitlines())
    assert any(case.names in line and case.says in line for line in told.splitlines()), told


def test_all_faults_in_one_go(refused: Callable[..., str], here: Path) -> None:
    """A file with eight faults gives eight lines, each with its key."""
    faults = {
        TITLE: "title = 3",
        IMAGE: 'image = "missing.png"',
        'pixel_size = "20 um"': "pixel_size = 20",
        SPEED: 'speed = "60,5 m/min"',
        MAGNIFICATION: "magnification = -1",
        LUX: 'illuminance = "40 W/m^2"',
        PIXELS: "pixels = 32\nbit_dept = 12",
        LINES: 'binning = "9x9"',
    }
    text = (here / "base.toml").read_text("utf-8")
    for old, new in faults.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    (here / "s.toml").write_text(text, "utf-8")
    lines = refused("budget", "s.toml").splitlines()
    keys = sorted(
        line.removeprefix("linesim: ").replace(' "', ": ").split(":")[0] for line in lines
    )
    assert keys == [
        "acquisition.binning",
        "camera.bit_dept",
        "lens.magnification",
        "light.illuminance",
        "target.image",
        "target.pixel_size",
        "title",
        "transport.speed",
    ]
