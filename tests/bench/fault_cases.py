"""The faults of the gallery: for each sheet a station without fault, and what differs."""

from dataclasses import dataclass, field
from typing import Any

from linesim.report.sheet import Detail

LINES = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """
    One panel.

    Parameters
    ----------
    title : str
        What it shows.
    changes : dict
        Dotted key -> value, against the station of the sheet.
    white : float
        Share of full scale that is shown as white.
    lines : int
        To scan.
    """

    title: str
    changes: dict[str, Any] = field(default_factory=dict)
    white: float = 1.0
    lines: int = LINES


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """
    Panels that share a station.

    Parameters
    ----------
    name : str
        Of the file.
    heading : str
        Over the panels.
    station : dict
        Dotted key -> value, against `STATION`.
    cases : tuple of Case
        In reading order.
    rulings : bool
        Look at rulings instead of the station's own target.
    detail : Detail, optional
        Of every panel.
    """

    name: str
    heading: str
    station: dict[str, Any]
    cases: tuple[Case, ...]
    rulings: bool = False
    detail: Detail | None = None


STATION: dict[str, Any] = {
    "title": "fault sheet",
    "target": {"image": "foil", "pixel_size": "18.75 um", "width": "19.2 mm", "height": "19.2 mm"},
    "transport": {"speed": "6 m/min"},
    "lens": {"magnification": 0.1, "f_number": 4.0, "blur": "2 um"},
    "light": {"illuminance": "12 klx"},
    "camera": {
        "pixels": 256,
        "pixel_width": "7.5 um",
        "read_noise": "20 e",
        "full_well": "40 ke",
        "prnu": 0.005,
    },
    "acquisition": {},
}
"""Object pixels of 75 um, some 1.3 kHz; amplitudes of faults are those of a bad day, not of a wreck."""

MOTION = Sheet(
    name="faults_motion",
    heading="Transport: where lines lie on the target",
    station={"target.repeat": True},
    rulings=True,
    cases=(
        Case(title="Nothing wrong: rulings 2.4 mm apart"),
        Case(
            title="Speed ripple 15 % at 10 Hz, lines from a clock: stretched and squeezed by turns",
            changes={"transport.speed_ripple": 0.15, "transport.ripple_frequency": "10 Hz"},
        ),
        Case(
            title="Line jitter 50 um rms: ragged from line to line",
            changes={"transport.line_jitter": "50 um"},
        ),
        Case(
            title="Encoder error 250 um once a turn of 10 mm: rulings uneven, in step with travel",
            changes={
                "transport.trigger": "encoder",
                "transport.encoder_step": "25 um",
                "transport.encoder_turn_error": "250 um",
                "transport.encoder_turn_length": "10 mm",
            },
        ),
        Case(
            title="Clock believes 20 % too high a speed: all of it stretched along travel",
            changes={"transport.assumed_speed": "7.2 m/min"},
        ),
        Case(
            title="Skew 2 degrees: sheared, upright rulings stay upright",
            changes={"transport.skew": "2 deg"},
        ),
        Case(
            title="Lateral wander 0.2 mm at 10 Hz: everything sways together",
            changes={
                "transport.lateral_wander": "0.2 mm",
                "transport.lateral_wander_frequency": "10 Hz",
            },
        ),
        Case(
            title="Flutter 4 mm at 12 Hz, 16 mm lens: ends sway, middle stays, focus comes and goes",
            changes={
                "transport.flutter": "4 mm",
                "transport.flutter_frequency": "12 Hz",
                "lens.focal_length": "16 mm",
                "lens.f_number": 2.0,
                "light.illuminance": "3 klx",
            },
        ),
    ),
)

LIGHT = Sheet(
    name="faults_light",
    heading="Light and sensor: how bright a sample is",
    station={},
    cases=(
        Case(title="Nothing wrong: coated foil"),
        Case(
            title="Lamp flicker 15 % at 100 Hz: bands 13.3 lines apart",
            changes={"light.flicker": 0.15, "light.flicker_frequency": "100 Hz"},
        ),
        Case(
            title="Lamp 70 % weaker at the ends of the line",
            changes={"light.edge_falloff": 0.7},
        ),
        Case(
            title="The same with ambient light, 40 % of the lamp's: brighter, and more even",
            changes={"light.edge_falloff": 0.7, "light.ambient": "4.8 klx"},
        ),
        Case(
            title="Wide lens, 30 degrees at the ends: cos⁴ fall-off",
            changes={
                "camera.pixels": 1024,
                "acquisition.binning": "4x4",
                "lens.magnification": 0.4,
                "lens.focal_length": "4.8 mm",
                "light.illuminance": "1.2 klx",
            },
        ),
        Case(
            title="PRNU 2 %, DSNU 80 e in a third of the light: streaks along travel",
            changes={"camera.prnu": 0.02, "camera.dsnu": "80 e", "light.illuminance": "4 klx"},
            white=1 / 3,
        ),
        Case(
            title="Fall-off and streaks, flat-field corrected: even again, noisy at the ends",
            changes={
                "camera.prnu": 0.02,
                "camera.dsnu": "80 e",
                "light.illuminance": "2 klx",
                "light.edge_falloff": 0.8,
                "acquisition.flat_field": True,
            },
            white=1 / 6,
        ),
        Case(
            title="Too little light, shown 50 times brighter: noise hides the faults",
            changes={"light.illuminance": "0.24 klx"},
            white=1 / 50,
        ),
    ),
)

_QUARTER_HEIGHT = {"camera.pixels": 1024, "lens.magnification": 0.4, "acquisition.binning": "4x4"}
_DARK = {
    **_QUARTER_HEIGHT,
    "light.illuminance": "26 lx",
    "camera.read_noise": "10 e",
    "camera.gain": "1 DN/e",
    "camera.binned_full_well": "40 ke",
}
LEVELS = Sheet(
    name="faults_levels",
    heading="Clipping, and binning in the dark: a wedge of grey steps",
    station={
        "target.image": "steps",
        "camera.pixels": 512,
        "lens.magnification": 0.2,
        "acquisition.binning": "2x2",
        "light.illuminance": "12 klx",
        "camera.gain": "0.0254 DN/e",
        "camera.binned_full_well": "160 ke",
    },
    cases=(
        Case(title="Nothing wrong: 12 steps, binned 2x2"),
        Case(
            title="Pixels full at 15 ke of 40 ke: light steps run together below full scale",
            changes={"camera.full_well": "15 ke"},
        ),
        Case(
            title="Summing place full at 60 ke: they run together, whatever a pixel holds",
            changes={"camera.binned_full_well": "60 ke"},
        ),
        Case(
            title="Word full, gain too high by 2.7: they run together in white",
            changes={"camera.gain": "0.0677 DN/e"},
        ),
        Case(
            title="1x1, some 25 e on white: no step but the first",
            changes={**_DARK, "acquisition.binning": "1x1", "acquisition.line_rate": "5.3333 kHz"},
            white=1 / 80,
            lines=4 * LINES,
        ),
        Case(
            title="The same pixels binned 4x4 in the charge domain: one read noise",
            changes=_DARK,
            white=1 / 5,
        ),
        Case(
            title="Binned 4x4 in the digital domain: 16 read noises",
            changes={**_DARK, "acquisition.binning_domain": "digital"},
            white=1 / 5,
        ),
    ),
)

_TALL = {"target.height": "38.4 mm"}
_FLAT = {"target.height": "9.6 mm"}
SHARPNESS = Sheet(
    name="faults_sharpness",
    heading="Sharpness and sampling: a sinusoidal star",
    station={"target.image": "star"},
    cases=(
        Case(title="Nothing wrong"),
        Case(
            title="Out of focus by 12 mm: rings where contrast turns over",
            changes={"lens.defocus": "12 mm"},
        ),
        Case(
            title="Motion blur of 3 pixels: grey where spokes lie across travel",
            changes={"acquisition.exposure": "2.25 ms", "light.illuminance": "4 klx"},
        ),
        Case(
            title="Half the line rate, short exposure: gaps, squeezed, false patterns",
            changes={
                **_TALL,
                "acquisition.line_rate": "666.667 Hz",
                "acquisition.exposure": "200 us",
                "light.illuminance": "45 klx",
            },
        ),
        Case(
            title="Binned 2x2 at the unchanged line rate: lines overlap, stretched twofold",
            changes={
                **_FLAT,
                "acquisition.binning": "2x2",
                "acquisition.line_rate": "1.33333 kHz",
                "light.illuminance": "3 klx",
            },
            lines=128,
        ),
        Case(
            title="Binned 2x2 at the matched rate: true shape, half the pixels each way",
            changes={"acquisition.binning": "2x2", "light.illuminance": "1.5 klx"},
            lines=128,
        ),
        Case(
            title="Binned 1x2 by rows that look together: 2 pixels and 2 pixels of motion",
            changes={"acquisition.binning": "1x2", "light.illuminance": "3 klx"},
            lines=128,
        ),
        Case(
            title="Binned 1x2 by successive lines: 1 pixel of motion each, sharper along travel",
            changes={
                "acquisition.binning": "1x2",
                "acquisition.binning_domain": "digital",
                "acquisition.binning_mode": "average",
                "acquisition.binning_along": "lines",
            },
            lines=128,
        ),
        Case(
            title="One line in a 64th of the light, shown 64 times brighter",
            changes={"light.illuminance": "188 lx"},
            white=1 / 64,
        ),
        Case(
            title="TDI of 64 stages in the same light, in step: 64 times the signal",
            changes={"light.illuminance": "188 lx", "camera.tdi_stages": 64},
        ),
        Case(
            title="TDI of 64 stages, line clock 5 % off the speed: smeared along travel",
            changes={
                "light.illuminance": "188 lx",
                "camera.tdi_stages": 64,
                "transport.assumed_speed": "6.3 m/min",
            },
        ),
        Case(
            title="TDI of 64 stages, skew 2 degrees: smeared across, sheared",
            changes={
                "light.illuminance": "188 lx",
                "camera.tdi_stages": 64,
                "transport.skew": "2 deg",
            },
        ),
    ),
)

_SWING = {"transport.speed_ripple": 0.1, "transport.ripple_frequency": "20 Hz"}
COLOUR = Sheet(
    name="faults_colour",
    heading="Colour: do red, green and blue see the same strip?",
    station={
        "target": {
            "image": "tile",
            "pixel_size": "62.5 um",
            "width": "64 mm",
            "height": "64 mm",
        },
        "transport.speed": "30 m/min",
        "lens.magnification": 0.03,
        "light.illuminance": "40 klx",
        "camera.kind": "three-line",
        "camera.line_spacing": "75 um",
        "camera.quantum_efficiency": {"red": 0.45, "green": 0.55, "blue": 0.5},
        "acquisition.white_balance": "grey-card",
    },
    detail=Detail(first_line=60, first_column=130, lines=48, columns=64),
    cases=(
        Case(
            title="Prism, one line of sight: no fringes",
            changes={"camera.kind": "prism", "camera.line_spacing": None},
            white=0.5,
        ),
        Case(
            title="Three rows 10 lines apart, undone by whole lines at an even speed: none either",
            white=0.5,
        ),
        Case(
            title="Delay of 3 lines not undone: a threefold picture",
            changes={"camera.line_spacing": "22.5 um", "acquisition.colour_alignment": "none"},
            white=0.5,
        ),
        Case(
            title="10.5 lines undone by 10: half a line of fringe on edges across travel",
            changes={"camera.line_spacing": "78.7 um"},
            white=0.5,
        ),
        Case(
            title="The same undone by fractions of a line: none",
            changes={
                "camera.line_spacing": "78.7 um",
                "acquisition.colour_alignment": "fractional",
            },
            white=0.5,
        ),
        Case(
            title="Speed ripple 10 % at 20 Hz, lines from a clock: fringes come and go",
            changes=_SWING,
            white=0.5,
        ),
        Case(
            title="The same ripple, lines from an encoder: none",
            changes={
                **_SWING,
                "transport.trigger": "encoder",
                "transport.encoder_step": "50 um",
            },
            white=0.5,
        ),
        Case(
            title="Rows 40 lines apart, skew 2 degrees: fringes on edges along travel",
            changes={"camera.line_spacing": "300 um", "transport.skew": "2 deg"},
            white=0.5,
        ),
    ),
)

ALL = (MOTION, LIGHT, LEVELS, SHARPNESS, COLOUR)
