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
    columns : int
        Panels in a row.
    rulings : bool
        Look at rulings instead of the station's own target.
    detail : Detail, optional
        Of every panel.
    """

    name: str
    heading: str
    station: dict[str, Any]
    cases: tuple[Case, ...]
    columns: int = 4
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
"""Object pixels of 75 um at 1.33 kHz; faults of a bad day, made large enough for the eye."""

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
            title="Flutter 4 mm at 12 Hz: ends sway, the middle stays, focus comes and goes",
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

_EVEN = {"target.image": "flat", "target.white_reflectance": 0.4}
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
            title="Lamp 70 % weaker at the ends of the line, an even grey target",
            changes={**_EVEN, "light.edge_falloff": 0.7},
        ),
        Case(
            title="The same with ambient light, 40 % of the lamp's: brighter, and more even",
            changes={**_EVEN, "light.edge_falloff": 0.7, "light.ambient": "4.8 klx"},
        ),
        Case(
            title="Lamp even, wide lens, 30 degrees at the ends: fall-off by cos^4",
            changes={
                **_EVEN,
                "camera.pixels": 1024,
                "acquisition.binning": "4x4",
                "lens.magnification": 0.4,
                "lens.focal_length": "4.8 mm",
                "light.illuminance": "1.2 klx",
            },
        ),
        Case(
            title="PRNU 3 %, DSNU 100 e in a sixth of the light: streaks along travel",
            changes={"camera.prnu": 0.03, "camera.dsnu": "100 e", "light.illuminance": "2 klx"},
            white=1 / 6,
        ),
        Case(
            title="Fall-off and streaks, flat-field corrected: even again, noisy at the ends",
            changes={
                "camera.prnu": 0.03,
                "camera.dsnu": "100 e",
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
