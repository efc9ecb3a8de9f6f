"""
Detection: how surely a defect of known size and contrast stands out of the product.

The detector is the best linear one, the prewhitened matched filter: samples weighted by the
defect's own blurred shape s over the power of all that is not defect, summed, and compared with a
threshold. Its detectability is the shift that a defect gives over the spread that good product
gives,

    d' = D S / √(σ² S + r² C + σ_l² L),    S = ∫|s(f)|² W(f) df,
    C = Σ_columns(Σ_lines w)²,  L = Σ_lines(Σ_columns w)²,

D the depth of a full defect in electrons, σ the temporal noise of a sample on the product, σ_l that
which all samples of a line share, W = σ²/N
the share of white noise in all noise N = σ² + |H|² N_texture at a frequency, w the filter's
weights. On even product W = 1 and S = Σs², the filter for white noise. Streaks of the columns stay
the same along travel: the machine learns each column's level from 256 lines of good product (ours),
which leaves a spread r of them, 1/r² = 1/σ_c² + 256/σ². Nothing is learnt of a line: a machine that
takes each line's own mean off is rid of σ_l, and of what lies all across.

Signal and noise are what wells and words leave (`linesim.forward.kept`): D = kept(product) less
kept(product with the defect), a dark one. How often that is found, and how often good product is
called a defect, is told by `linesim.metrics.detection.search`.

Limits: s is blurred as everywhere in the middle of the image; the depth is that of a defect that
fills its samples, also where the product clips; texture lies still under the defect.

References ---------- Prewhitened observer: H. H. Barrett and K. J. Myers, Foundations of Image
Science, 2004 (from memory). Rose's criterion: a signal to noise ratio of 5 for certain detection
(A. Rose, 1948; from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from linesim.forward.geometry import Figure
from linesim.forward.station import Station
from linesim.metrics.detection.energy import NODES, Energies, Shape, energies_of
from linesim.metrics.detection.ground import Ground, ground
from linesim.metrics.detection.search import Bank, alarms_at, bank_of, found_share, threshold_for
from linesim.metrics.detection.search import wanted_dprime as dprime_for
from linesim.metrics.detection.texture import Texture
from linesim.setup.arrays import FloatArray

ROSE = 5.0
"""Detectability that Rose asked for."""
_UM2_M2 = 1e12


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A defect as the filter has it."""

    # the index d', of the root of the mean square over all places on the grid of samples
    dprime: FloatArray
    bank: Bank  # what the search needs to know of it
    energies: Energies  # what of it reaches the samples


def sighting_of(numbers: Station, base: Ground, nodes: int = NODES) -> Callable[[Shape], Sighting]:
    """Prepare a station for many shapes of defect on one ground."""
    energies = energies_of(numbers, base.backdrop, nodes)

    def sighted(shape: Shape) -> Sighting:
        return sighting(energies(shape), base)

    return sighted


def sighting(found: Energies, base: Ground) -> Sighting:
    """Set what of a defect reaches the samples against the noise."""
    noise_e2, streaks_e2 = np.square(base.noise_e), np.square(base.streaks_e)
    spread_e2 = noise_e2 * found.samples + streaks_e2 * found.columns
    spread_e2 = np.maximum(spread_e2 + np.square(base.lines_e) * found.lines, 1e-240)
    return Sighting(
        dprime=np.asarray(base.depth_e * found.samples / np.sqrt(spread_e2)),
        bank=bank_of(found, base.contrast, (base.level_e, base.charge_e), base.noise_e, base.slope),
        energies=found,
    )


def dprime(
    numbers: Station,
    shape: Shape,
    contrast: Figure,
    product: Figure = 1.0,
    texture: Texture | None = None,
) -> FloatArray:
    """Work out how a defect stands out by the best filter."""
    return sighting_of(numbers, ground(numbers, product, contrast, texture))(shape).dprime


def cell_m2(numbers: Station) -> Figure:
    """Area of product that one sample stands for."""
    return numbers.geometry.object_pixel_x_um * numbers.timing.line_advance_um / _UM2_M2


def alarm_threshold(numbers: Station, bank: Bank, false_alarms_per_m2: Figure) -> FloatArray:
    """Threshold that good product passes so often on a square metre."""
    return threshold_for(bank, false_alarms_per_m2 * np.asarray(cell_m2(numbers)))


def detection_rate(seen: Sighting, threshold: Figure) -> FloatArray:
    """Share of defects found at a threshold in sigmas, on the mean of all places on the grid."""
    return found_share(seen.bank, seen.dprime, threshold)


def false_alarms_per_m2(numbers: Station, bank: Bank, threshold: Figure) -> FloatArray:
    """Count the false alarms that a threshold in sigmas lets through."""
    return np.asarray(alarms_at(bank, threshold) / cell_m2(numbers))


def wanted_dprime(numbers: Station, bank: Bank, rate: Figure, alarms_per_m2: Figure) -> FloatArray:
    """Give the d' that finds such a share of defects at so few false alarms."""
    return dprime_for(bank, rate, alarm_threshold(numbers, bank, alarms_per_m2))
