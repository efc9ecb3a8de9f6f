"""What to mind about a measured camera: what its frames leave open, and people near the lamp."""

from collections.abc import Callable, Iterator

from linesim.figures.cautions import Caution
from linesim.setup.light.thermal import VIOLET_NM
from linesim.studies.measure.camera.measured import MeasuredCamera

_FEWEST_STEPS = 50
"""Steps of light that EMVA 1288 asks for; from memory."""
_FEWEST_LINES = 100
"""Lines that make a frame of a line camera: EMVA 1288 R4.0 RC (March 2021), section 5."""
_FEWEST_FITTED = 5
"""Steps below 70 % of saturation under which a fit tells little; our choice."""
_MOST_AT_ZERO = 0.005
"""Share of dark samples at 0 above which noise reads low: EMVA 1288, from memory."""
_CLEAR_SD = 4.0
_VISIBLE_NM = (380.0, 780.0)

Found = Iterator[tuple[str, str]]


def camera_cautions(found: MeasuredCamera) -> tuple[Caution, ...]:
    """Say what to mind."""
    checks: tuple[Callable[[MeasuredCamera], Found], ...] = (
        _range,
        _steps,
        _dark,
        _pattern,
        _files,
        _light,
    )
    return tuple(Caution(code, text) for check in checks for code, text in check(found))


def _range(found: MeasuredCamera) -> Found:
    if found.transfer.saturation.rule == "end":
        text = (
            "The brightest step is not saturated: saturation capacity, largest SNR and dynamic "
            "range are lower limits, and 70 % is meant of that step. Go on until the samples "
            "clip."
        )
        yield "not_saturated", text


def _steps(found: MeasuredCamera) -> Found:
    steps, fitted = found.series.light.size, found.transfer.fitted
    if fitted < _FEWEST_FITTED:
        text = (
            f"Only {fitted} step{'s lie' if fitted > 1 else ' lies'} between dark and 70 % of "
            "saturation: gain and efficiency rest on few points. Take dimmer steps."
        )
        yield "few_fitted", text
    if steps < _FEWEST_STEPS:
        text = (
            f"{steps} step{'s' * (steps > 1)} of light; EMVA 1288 asks for {_FEWEST_STEPS}, "
            "equally spaced. Saturation is known to a step."
        )
        yield "few_steps", text
    if found.frames.shape[0] < _FEWEST_LINES:
        text = (
            f"Frames have {found.frames.shape[0]} lines; EMVA 1288 takes {_FEWEST_LINES} lines "
            "or more of a line camera for a frame."
        )
        yield "few_lines", text


def _dark(found: MeasuredCamera) -> Found:
    lowest = max(seen.share_lowest for seen in found.darks)
    if lowest > _MOST_AT_ZERO:
        text = (
            f"{lowest:.1%} of the samples in the dark are 0: the noise there reads too low, "
            "and so do threshold and dark noise. Raise the black level until fewer than "
            f"{_MOST_AT_ZERO:.1%} are."
        )
        yield "dark_clipped", text
    if found.transfer.dark_noise_is_limit:
        text = (
            "The dark noise is below 0.49 DN, where rounding hides it: it is taken for 0.49 "
            "DN, and what follows are upper limits (EMVA 1288). Use more bits or more gain."
        )
        yield "quantisation", text
    figures = found.transfer.figures
    if "dark_current_gap_e_s" in figures and not found.dark_currents_agree:
        text = (
            "Mean and variance in the dark do not grow alike "
            f"({figures['dark_current_mean_e_s'].value:.4g} and "
            f"{figures['dark_current_variance_e_s'].value:.4g} e/s): a camera that takes its "
            "dark level off, or one that warms up. The variance is believed."
        )
        yield "dark_current_differs", text


def _pattern(found: MeasuredCamera) -> Found:
    for place, seen in (("in the dark", found.darks[found.series.shortest]),
                        ("at half saturation", found.steps[found.half])):  # fmt: skip
        parts = seen.figures.spatial_dn2
        if parts.row.value > _CLEAR_SD * parts.row.sd:
            text = (
                f"Whole lines differ from one another {place}, the same in every frame: light "
                "or electronics that swing in step with the frames."
            )
            yield "lines_vary", text
        if parts.pixel.value > _CLEAR_SD * parts.pixel.sd:
            text = (
                f"There is a pattern {place} that is neither columns nor lines, which the "
                "sensor of a line camera cannot show: a target with texture that came back "
                "alike, or an area camera. camera.toml takes the columns alone."
            )
            yield "not_columns_alone", text


def _files(found: MeasuredCamera) -> Found:
    word = found.frames.word
    if word.factor > 1:
        text = (
            f"The files hold {word.bit_depth}-bit samples times {word.factor}; they were "
            "divided by it, and every DN here is a step of the camera."
        )
        yield "samples_shifted", text
    elif word.source.startswith("smallest"):
        text = (
            f"{word.bit_depth} bit are taken, the smallest usual depth that holds the "
            "brightest samples. Where that is wrong, say --bit-depth."
        )
        yield "depth_guessed", text
    for text in dict.fromkeys(found.frames.cautions):
        yield "file", text


def _light(found: MeasuredCamera) -> Found:
    wavelength_nm = found.known.wavelength_nm
    low, high = _VISIBLE_NM
    if wavelength_nm is not None and not low <= wavelength_nm <= high:
        text = (
            f"Light of {wavelength_nm:g} nm is not seen, and the eye does not blink at it. Ask "
            "the light's maker for the risk group (IEC 62471)."
        )
        yield "invisible_light", text
    if wavelength_nm is not None and wavelength_nm < VIOLET_NM:
        text = (
            f"Light of {wavelength_nm:g} nm is ultraviolet, which harms skin as well as eyes, "
            "also by reflection: enclose it, and cover eyes and skin."
        )
        yield "ultraviolet", text
    text = (
        "Lamps bright enough to saturate a sensor can hurt eyes, and a laser needs a laser "
        "safety officer (IEC 60825-1): ask the light's maker for the risk group (IEC 62471) "
        "and follow local code."
    )
    yield "light_source", text
