"""The faults of the gallery, continued: levels, sharpness and colour."""

from linesim.report.sheet import Detail
from tests.bench.fault_cases import Case, Sheet

_DARK = {
    "camera.pixels": 1024,
    "lens.magnification": 0.4,
    "acquisition.binning": "4x4",
    "light.illuminance": "77 lx",
    "acquisition.exposure": "187.5 us",
    "camera.read_noise": "10 e",
    "camera.gain": "1 DN/e",
    "camera.binned_full_well": "40 ke",
}
LEVELS = Sheet(
    name="faults_levels",
    columns=3,
    heading="Clipping, and binning in the dark: a wedge of grey steps",
    station={
        "target.image": "steps",
        "camera.pixels": 512,
        "lens.magnification": 0.2,
        "acquisition.binning": "2x2",
        "light.illuminance": "22 klx",
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
            title="25 e a pixel on white, binned 4x4 in the charge domain: one read noise",
            changes=_DARK,
            white=1 / 8,
        ),
        Case(
            title="The same binned 4x4 in the digital domain: 16 read noises",
            changes={**_DARK, "acquisition.binning_domain": "digital"},
            white=1 / 8,
        ),
    ),
)

_DIM = {"light.illuminance": "328 lx"}
_TALL = {"target.height": "38.4 mm"}
SHARPNESS = Sheet(
    name="faults_sharpness",
    heading="Sharpness and sampling: a sinusoidal star",
    station={"target.image": "star", "light.illuminance": "21 klx"},
    cases=(
        Case(title="Nothing wrong"),
        Case(
            title="Out of focus by 10 mm: grey towards the middle, alike in all directions",
            changes={"lens.defocus": "10 mm"},
        ),
        Case(
            title="Motion blur of 3 pixels: grey where spokes lie across travel",
            changes={"acquisition.exposure": "2.25 ms", "light.illuminance": "7 klx"},
        ),
        Case(
            title="Half the line rate, short exposure: gaps, squeezed, false patterns",
            changes={
                **_TALL,
                "acquisition.line_rate": "666.667 Hz",
                "acquisition.exposure": "200 us",
                "light.illuminance": "78.8 klx",
            },
        ),
        Case(
            title="Binned 2x2 at the unchanged line rate: overlap, stretched twofold (upper half)",
            changes={
                "acquisition.binning": "2x2",
                "acquisition.line_rate": "1.33333 kHz",
                "light.illuminance": "5.25 klx",
            },
            lines=128,
        ),
        Case(
            title="Binned 2x2 at the matched rate: true shape, half the pixels each way",
            changes={"acquisition.binning": "2x2", "light.illuminance": "2.63 klx"},
            lines=128,
        ),
        Case(
            title="Binned 1x2 by rows that look together: 2 pixels and 2 pixels of motion",
            changes={"acquisition.binning": "1x2", "light.illuminance": "5.25 klx"},
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
            changes=_DIM,
            white=1 / 64,
        ),
        Case(
            title="TDI of 64 stages in the same light, in step: 64 times the signal",
            changes={**_DIM, "camera.tdi_stages": 64},
        ),
        Case(
            title="TDI of 64 stages, line clock 5 % off the speed: smeared along travel",
            changes={
                **_DIM,
                "camera.tdi_stages": 64,
                "transport.assumed_speed": "6.3 m/min",
            },
        ),
        Case(
            title="TDI of 64 stages, skew 2 degrees: smeared across, sheared",
            changes={
                **_DIM,
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
