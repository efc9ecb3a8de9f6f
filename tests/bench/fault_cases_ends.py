"""The faults of the gallery, continued: what lens and sensor do along the line."""

from linesim.report.sheet import Detail
from tests.bench.fault_cases import Case, Sheet

ENDS = Sheet(
    name="faults_ends",
    columns=3,
    heading="The lens over its field: middle and ends of the line",
    station={"target.repeat": True},
    rulings=True,
    cases=(
        Case(title="Nothing wrong: rulings 2.4 mm apart"),
        Case(
            title="Blur of 1 um in the middle, 3 at 0.7 and 16 at the ends: soft ends",
            changes={"lens.blur": ["1 um", "3 um", "16 um"]},
        ),
        Case(
            title="Focus off by 0 mm on the left to 24 on the right: the camera stands askew",
            changes={"lens.defocus": ["0 mm", "3.6 mm", "12 mm", "20.4 mm", "24 mm"]},
        ),
        Case(
            title="Relative illumination 1, 0.85, 0.35: dark ends",
            changes={"lens.relative_illumination": [1.0, 0.85, 0.35]},
        ),
        Case(
            title="Barrel distortion of 12 %: the ends are squeezed, the middle is not",
            changes={"lens.distortion": -0.12},
        ),
        Case(
            title="Sharp across, 12 um of blur along at the ends: rulings across travel fade there",
            changes={
                "lens.blur_across": "1 um",
                "lens.blur_along": ["1 um", "4 um", "12 um"],
            },
        ),
    ),
)

_TILE = {
    "target": {"image": "tile", "pixel_size": "62.5 um", "width": "64 mm", "height": "64 mm"},
    "transport.speed": "30 m/min",
    "lens.magnification": 0.03,
    "light.illuminance": "40 klx",
    "camera.kind": "prism",
    "camera.quantum_efficiency": {"red": 0.45, "green": 0.55, "blue": 0.5},
    "acquisition.white_balance": "grey-card",
}
_ROWS = {"camera.kind": "three-line", "camera.line_spacing": "75 um"}
COLOUR_ENDS = Sheet(
    name="faults_colour_ends",
    columns=4,
    heading="Colours apart: by the lens at the ends, by the prism everywhere",
    station=_TILE,
    detail=Detail(first_line=52, first_column=0, lines=48, columns=64),
    cases=(
        Case(title="Nothing wrong: the left end of the line, four times as large", white=0.5),
        Case(
            title="Three rows, lateral colour of 20 um: fringes on edges along travel, at the ends",
            changes={**_ROWS, "lens.lateral_colour": "20 um"},
            white=0.5,
        ),
        Case(
            title="Axial colour: red's focus 250 um behind blue's: red is soft, blue is sharp",
            changes={
                "lens.axial_colour": {"red": "250 um", "green": "100 um", "blue": "0 um"},
            },
            white=0.5,
        ),
        Case(
            title="Red's sensor 10 um off across and along: fringes alike all over",
            changes={
                "camera.registration": {
                    "red": ["10 um", "10 um"],
                    "green": ["0 um", "0 um"],
                    "blue": ["0 um", "0 um"],
                },
            },
            white=0.5,
        ),
    ),
)

SENSOR = Sheet(
    name="faults_sensor",
    heading="The line itself: what sensor and reading add",
    station={"target.repeat": True, "camera.prnu": 0.0},
    rulings=True,
    detail=Detail(first_line=112, first_column=110, lines=30, columns=40),
    cases=(
        Case(title="Nothing wrong: rulings 2.4 mm apart"),
        Case(
            title="Line noise 100 e in a twelfth of the light: each line lighter or darker",
            changes={"camera.line_noise": "100 e", "light.illuminance": "1 klx"},
            white=1 / 12,
        ),
        Case(
            title="Four taps, gains 8 % apart (rms): bands along travel with sharp seams",
            changes={"camera.taps": {"count": 4, "gain_step": 0.08, "offset_step": "0 e"}},
        ),
        Case(
            title="Waves of 10 % over the columns, 48 pixels long: soft stripes along travel",
            changes={"camera.column_waves": {"gain": 0.1, "period": "48 px"}},
        ),
        Case(
            title="Crosstalk 20 % to each side: upright rulings fade, those across do not",
            changes={"camera.crosstalk": 0.2},
        ),
        Case(
            title="Lag 50 %: what is dark trails along travel, on one side only",
            changes={"camera.lag": 0.5},
        ),
        Case(
            title="192 stages, 1 % of the charge left behind at each: moved, and softer",
            changes={
                "camera.tdi_stages": 192,
                "camera.charge_transfer_inefficiency": 0.01,
                "light.illuminance": "62 lx",
            },
        ),
        Case(
            title="Every eighth count of the encoder lost: lines skip, all of it is squeezed",
            changes={
                "transport.trigger": "encoder",
                "transport.encoder_step": "25 um",
                "transport.encoder_missed_counts": 0.125,
            },
        ),
    ),
)
