"""
Figures measured on rendered images of a station, with their standard errors.

SNR and electrons on white come from scans of an even target, SNR on the product from one as light
as that, MTF50 from a slanted edge, d' from defects put on the product. Each scan is of a part of
the line, some hundreds of samples square: the same station with fewer pixels. What the closed form
leaves out shows: light that falls off is set even, but jitter, ripple, flicker and the like stay as
they are.

Standard errors: a temporal variance from n differences is known to √(2/n) of itself (EMVA 1288 R4.0
RC, (19)), so its root to 1/√(2n); a mean of N samples to their noise over √N, and
to the streaks of the columns over the root of their number. MTF50 has the noise of the response
over the slope of the closed form there, and 0.3 % of the reading itself. d' has the scatter of
its rounds.
"""

from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from linesim.figures.case import values
from linesim.figures.product import product_share
from linesim.figures.resolution import mtf_across, mtf_along
from linesim.forward.station import Station, station
from linesim.metrics.edge.figures import edge_response
from linesim.metrics.flat.noise import Estimate
from linesim.setup.arrays import FloatArray
from linesim.setup.errors import InputError
from linesim.setup.lights import matt
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.batch.judged import weakest
from linesim.studies.measure.detection.study import inject
from linesim.studies.scan.measured import white_figures
from linesim.studies.scan.study import Scan, scan
from linesim.targets.load import target_size

_SAMPLES = 256
"""Samples across and lines of a scan."""
_FINENESS = 4
"""Reference pixels across the smaller side of a sample."""
_READING = 0.003
"""Error of reading MTF50 off an edge without noise, as a share; found by the tests of `scan`."""
_DEFECTS, _PLACES = 1000, 64
"""Defects, and places of theirs on the pixel grid, so that there are ten rounds and more."""
_CAMERAS = 1000
"""Cameras set aside for each point."""
_UNFIT: dict[str, object] = {
    "target.width": None,
    "target.height": None,
    "target.contrast": None,
    "target.angle": None,
    "light.edge_falloff": 0.0,
    "lens.field_of_view": None,
    "lens.working_distance": None,
    "acquisition.length": None,
    "acquisition.trigger_delay": None,
    "requirement.texture": None,
}
Measured = dict[str, Estimate]


class Run(NamedTuple):
    """How a station is scanned."""

    seed: int
    threads: int | None
    device: str | None = None


def _part(setup: Setup, numbers: Station, changes: dict[str, object]) -> Setup:
    """Give the same station with fewer pixels and a target of our own."""
    across = setup.acquisition.binning.across
    unfit = {key: value for key, value in _UNFIT.items() if value is not None or _has(setup, key)}
    return changed(
        setup,
        {
            **unfit,
            "camera.pixels": min(setup.camera.pixels, _SAMPLES * across),
            "lens.magnification": float(numbers.optics.magnification),
            "acquisition.lines": _SAMPLES,
            **changes,
        },
    )


def _has(setup: Setup, dotted: str) -> bool:
    section, _, key = dotted.partition(".")
    return key in setup.texts[section]


def _on_product(setup: Setup, numbers: Station, run: Run) -> Measured:
    """Measure SNR on an even target as light as the product; a flat field is learnt on white."""
    share = _product(setup)
    if share is None or setup.acquisition.flat_field:
        return {}
    changes: dict[str, object] = {"target.white_reflectance": min(share, 1.0)}
    if share > 1:  # a face that mirrors: as bright as a white in so much more light
        lit_w_m2 = share * setup.irradiance_w_m2
        changes |= {"light.illuminance": None, "light.irradiance": f"{lit_w_m2!r} W/m^2"}
    found = _on_even(setup, numbers, run, changes)
    return {"snr_product": found["snr_white"]} if found else {}


def _product(setup: Setup) -> float | None:
    """Reflectance of the product; nothing where it differs between colours."""
    share = np.asarray(product_share(setup, target_size(setup))) * setup.target.white_reflectance
    return float(share) if share.ndim == 0 else None


def _on_even(
    setup: Setup, numbers: Station, run: Run, changes: Mapping[str, object] = MappingProxyType({})
) -> Measured:
    """Measure signal and noise on an even target, a white one where nothing else is asked for."""
    white = {"target.image": "flat", "requirement.product_reflectance": "white"}
    even = {**matt(setup), **white, **changes}
    part = _part(setup, numbers, even)
    made = scan(part, run.seed, workers=run.threads, device=run.device)
    found = white_figures(made.setup, station(made.setup), made.image)
    if "snr_white" not in found:
        return {}
    lines, columns = made.image.shape[:2]
    signal_e, snr = (np.array(values(found[key])) for key in ("electrons_white", "snr_white"))
    noise_e = signal_e / snr
    streaks_e = np.asarray(numbers.pattern_e(numbers.electrons_white))
    mean_sd_e = np.sqrt(noise_e**2 / (lines * columns) + streaks_e**2 / columns)
    snr_sd = snr * np.sqrt(1 / (2 * (lines - 1) * columns) + (mean_sd_e / signal_e) ** 2)
    return {
        "electrons_white": _weakest("electrons_white", signal_e, mean_sd_e),
        "snr_white": _weakest("snr_white", snr, snr_sd),
    }


def _weakest(name: str, value: FloatArray, sd: FloatArray) -> Estimate:
    where = int(np.flatnonzero(value == weakest(name, value))[0])
    return Estimate(value=float(value[where]), sd=float(np.broadcast_to(sd, value.shape)[where]))


def _at_edge(setup: Setup, numbers: Station, run: Run, axis: str) -> Measured:
    """Measure MTF50 on a slanted edge through the middle of the image."""
    pitch_um = float(numbers.timing.line_advance_um), float(numbers.geometry.object_pixel_x_um)
    width = min(int(numbers.geometry.image_width_px), _SAMPLES)
    part = _part(
        setup,
        numbers,
        {
            **matt(setup),
            "target.image": "edge",
            "target.angle": "5 deg" if axis == "x" else "85 deg",
            "target.pixel_size": f"{min(pitch_um) / _FINENESS!r} um",
            "target.width": f"{width * pitch_um[1] / 1000!r} mm",
            "target.height": f"{_SAMPLES * pitch_um[0] / 1000!r} mm",
        },
    )
    made = scan(part, run.seed, workers=run.threads, device=run.device)
    name = f"mtf50_{axis}_lp_mm"
    if name not in made.measured:
        return {}
    # of several colours the softest
    each = values(made.measured[name])
    colour = int(np.argmin(each))
    value, plane = each[colour], np.atleast_3d(made.image)[:, :, colour]
    one = numbers.by_colour[colour]
    spread = _response_sd(made, plane, pitch_um) / _slope(one, axis, value)
    return {name: Estimate(value=value, sd=float(np.hypot(spread, _READING * value)))}


def _response_sd(made: Scan, plane: NDArray[np.uint16], pitch_um: tuple[float, float]) -> float:
    """Noise of the response where it is one half; it grows with the frequency."""
    seen = edge_response(plane, pixel_pitch=pitch_um, limits=(0, made.setup.full_scale_dn))
    return seen.mtf_noise * (seen.mtf50_cyc_px or 0.5) / 0.25


def _slope(numbers: Station, axis: str, frequency_lp_mm: float) -> float:
    """Fall of the closed form per line pair a millimetre, at a frequency."""
    mtf = mtf_across if axis == "x" else mtf_along
    low, high = (mtf(numbers, frequency_lp_mm * part) for part in (0.99, 1.01))
    return float(np.squeeze(low - high)) / (0.02 * frequency_lp_mm)


def _by_injection(setup: Setup, numbers: Station, run: Run) -> Measured:
    """Measure d' on defects put on the product: their shift over the spread without them."""
    need, share = setup.requirement, _product(setup)
    if (
        setup.camera.kind != "mono"
        or share is None
        or need.texture is not None
        or need.smallest_defect_um is None
        or need.defect_shape != "disc"
    ):
        return {}
    # cameras of their own for every point, so that one pattern does not shift them all
    own: dict[str, object] = {
        **matt(setup),
        "camera.pattern_seed": _CAMERAS * run.seed,
        "target.image": "flat",
    }
    own["requirement.product_reflectance"] = share
    try:
        part = _part(setup, numbers, {**own, "acquisition.lines": None})
        by = partial(inject, workers=run.threads, device=run.device)
        (found,) = by(part, _DEFECTS, run.seed, places=_PLACES)
    except InputError:
        return {}  # the defect does not fit into the part of the line
    # each round is another camera, whose streaks its defects share: rounds are independent
    rounds = len(found.without) // len(found.each_dprime)
    outputs = np.array([found.with_defect, found.without]).reshape(2, rounds, -1)
    shift = _of_rounds(outputs[0].mean(axis=1) - outputs[1].mean(axis=1))
    spread = _of_rounds(((outputs[1] - found.without.mean()) ** 2).mean(axis=1))
    return {"defect_dprime": shift.over(spread.root())} if spread.value > 0 else {}


def _of_rounds(each: FloatArray) -> Estimate:
    sd = each.std(ddof=1) / np.sqrt(len(each))
    return Estimate(value=float(each.mean()), sd=float(sd))


Measure = Callable[[Setup, Station, Run], Measured]
MEASURES: dict[str, Measure] = {
    "electrons_white": _on_even,
    "snr_white": _on_even,
    "snr_product": _on_product,
    "mtf50_x_lp_mm": partial(_at_edge, axis="x"),
    "mtf50_y_lp_mm": partial(_at_edge, axis="y"),
    "defect_dprime": _by_injection,
}
"""Which measurement gives a figure."""
