"""Whatever the station: a figure of white that its scan does not show is not told in silence."""

from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st
from scipy.stats import chi2, norm

from linesim.figures.budget import budget
from linesim.forward.profile import column_profile
from linesim.forward.station import station
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from linesim.setup.setup import Setup
from linesim.studies.scan.study import Scan, scan

Texts = dict[str, dict[str, Any]]
Stations = st.SearchStrategy[Texts]

LINES = 96
PIXELS = 160
SIGMAS = 5
OFF = 0.05
SPOKEN = {
    "average_rounds_gain_away",
    "black_clips",
    "correction_rounds",
    "flat_field_left",
    "flat_field_noise",
    "flicker_bands",
    "node_clips",
    "quantisation",
    "rounding_shifts",
    "well_clips",
    "word_clips",
}
"""Cautions that say of the figures of white that they do not hold."""

CHANGES = st.fixed_dictionaries(
    {"acquisition.lines": st.just(LINES), "camera.pixels": st.just(PIXELS)},
    optional={
        "light.flicker": st.floats(-4, -0.5).map(lambda power: float(f"{10**power:.3g}")),
        "light.flicker_frequency": st.floats(10, 2e4).map(lambda rate: f"{rate:.4g} Hz"),
        "light.edge_falloff": st.floats(0, 0.7),
        "light.ambient": st.just("3 W/m^2"),
        "acquisition.flat_field_lines": st.sampled_from([1, 2, 4, 16, 64]),
    },
)
FLUTTER = st.fixed_dictionaries(
    {},
    optional={
        "lens.focal_length": st.floats(10, 200).map(lambda length: f"{length:.4g} mm"),
        "transport.flutter": st.floats(0.01, 2).map(lambda height: f"{height:.3g} mm"),
    },
)


def each(figures: Any) -> list[float]:  # noqa: ANN401 -- a number or one a colour
    """List a figure's values: one, or one a colour."""
    return list(figures.values()) if isinstance(figures, dict) else [float(figures)]


@dataclass(frozen=True, kw_only=True)
class Errors:
    """
    How far figures of one channel may be off by chance, shares of themselves.

    Of L lines and C columns: the mean by noise/√(LC) and pattern/√C; a variance of normal samples
    by √(2/N), of Poisson ones by √(1/S) more; that of the columns as χ² of C − 1. The gain of a
    corrected column has the variance v, and the mean of its square is off by 2 √(v/C).
    """

    mean: float
    noise: float
    total: tuple[float, float]

    @classmethod
    def of(
        cls, white_e: float, noise_e: float, total_e: float, counts: tuple[int, int]
    ) -> "Errors":
        """Work them out; counts are of columns and of reference lines, 0 without."""
        columns, references = counts
        pattern_e2 = max(total_e**2 - noise_e**2, 0.0)
        mean = SIGMAS * sqrt((noise_e**2 / LINES + pattern_e2) / columns) / white_e
        gains = (2 * noise_e**2 - white_e) / (references * white_e**2) if references else 0.0
        counted = (2 + white_e / noise_e**4) / ((LINES - 1) * columns)
        variance = SIGMAS * sqrt(counted + 4 * gains / columns)
        free = max(columns - 1, 1)
        low, high = (cut(norm.sf(SIGMAS), free) / free for cut in (chi2.ppf, chi2.isf))
        least_e2 = noise_e**2 * max(1 - variance, 0) + pattern_e2 * low
        most_e2 = noise_e**2 * (1 + variance) + pattern_e2 * high
        fewest, most = (total_e / sqrt(max(e2, 1e-12)) for e2 in (most_e2, least_e2))
        return cls(mean=mean, noise=variance / 2, total=(1 - fewest + mean, most - 1 + mean))


def lit(texts: Texts, changes: dict[str, Any], share: float, read_dn: float) -> Setup:
    """Give a station with its light and read noise: shares of the nearest limit, DN."""
    camera = texts["camera"]
    top, well = 2 ** camera["bit_depth"] - 1, float(camera["full_well"].split()[0])
    black = min(round(6 * (read_dn + 1)), top // 3)
    noise = {
        "camera.read_noise": f"{read_dn * well / (top - black):.5g} e",
        "camera.black_level": f"{black} DN",
    }
    setup = changed(setup_from(texts), {**changes, **noise})
    irradiance = setup.irradiance_w_m2 * share
    irradiance /= max(each(budget(setup)["signal"]["saturation_white"]))
    assume(1e-6 < irradiance < 1e6)
    return changed(setup, {"light.irradiance": f"{irradiance:.6g} W/m^2"})


def disagreements(found: Scan) -> list[str]:
    """Name what is off by over 5 % and over 5σ."""
    setup, read, told = found.setup, found.measured, found.budget["signal"]
    if "snr_total_white" not in read:
        return []
    profile = column_profile(setup, found.image.shape[1])
    columns = int((profile >= 0.995 * profile.max()).sum())
    way, numbers = setup.acquisition, station(setup)
    gains = np.asarray(numbers.dn_per_e * numbers.balance, dtype=np.float64)
    dn_per_e = np.broadcast_to(gains, len(each(told["electrons_white"])))
    off = []
    for index, white_e in enumerate(each(told["electrons_white"])):
        noise_e, total = (each(told[name])[index] for name in ("noise_white_e", "snr_total_white"))
        references = way.flat_field_lines if way.flat_field else 0
        error = Errors.of(white_e, noise_e, white_e / total, (columns, references))
        in_dn = error.mean * white_e * dn_per_e[index] / each(told["dn_white"])[index]
        allowed = {
            "electrons_white": (error.mean, error.mean),
            "dn_white": (in_dn, in_dn),
            "noise_white_e": (error.noise, error.noise),
            "snr_white": (error.noise + error.mean, error.noise + error.mean),
            "snr_total_white": error.total,
        }
        for name, (less, more) in allowed.items():
            share = each(read[name])[index] / each(told[name])[index] - 1
            if not -max(less, OFF) <= share <= max(more, OFF):
                off.append(f"{name}: {share:+.3f}")
    return off


@settings(max_examples=settings().max_examples * 2 // 3)
@given(
    data=st.data(),
    changes=CHANGES,
    flutter=FLUTTER,
    powers=st.tuples(st.floats(-2.5, 0.1), st.floats(-1.5, 0.8)),
    seed=st.integers(0, 2**32),
)
def test_no_figure_of_white_is_off_in_silence(
    any_station: Stations,
    data: st.DataObject,
    changes: dict[str, Any],
    flutter: dict[str, Any],
    powers: tuple[float, float],
    seed: int,
) -> None:
    """Of signal, noise, both SNR and the number: within 5 % and 5σ of the scan, or a caution."""
    # the flutter of a web needs the lens's focal length
    seen = {**changes, **(flutter if "lens.focal_length" in flutter else {})}
    setup = lit(data.draw(any_station), seen, *(10**power for power in powers))
    if not SPOKEN & {caution.code for caution in budget(setup).cautions}:
        try:
            found = scan(setup, seed, workers=1)
        except InputError:  # told in a sentence: a reference too fine for what an exposure sees
            reject()
        assert disagreements(found) == []
