"""
A trained detector against the theory: ROC areas of two small networks beside Φ(d'/√2).

``.venv/bin/python -m tests.bench.detector``; needs the extra torch, and some minutes of two cores.

White product in dim light; a dark disc of one size and contrast lies in the middle of a patch, at
its own phase to the pixels, or does not. For each mode a linear detector (logistic regression) and
a small convolutional network learn the two apart from simulated patches, and are tried on patches
of other scans, with discs at other phases and other noise.

No detector can beat the ideal observer, who knows the disc, its place and the noise: its area is
Φ(d'/√2) (equal variances, textbooks on imaging science), d' the closed form of
``metrics/detection/sighting.py``, without streaks here. The phase is not told to the detectors.
A linear one has one template for all phases, at best the mean of their signals; the area of that
one stands beside. Learning costs it more: about 2p/(n d'²) of its d', from n patches of p samples
(sample discriminants, textbooks on pattern recognition; from memory).
"""

import sys
from dataclasses import dataclass
from math import ceil, sqrt
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import rankdata
from torch import nn

from linesim.forward.reference import ArrayReference
from linesim.forward.render import render
from linesim.forward.station import station
from linesim.metrics.detection.energy import Disc
from linesim.metrics.detection.sighting import dprime
from linesim.setup.load import changed, sample_setup
from linesim.setup.setup import Setup
from linesim.targets.coverage import disc

SIZE_UM, CONTRAST = 200.0, 0.05
REACH_UM = 225.0
"""Around the disc, on each side: beyond it the blurred disc has no more signal."""
FINENESS = 8
"""Reference pixels across a sample."""
PATCHES_ACROSS = 40
TRAINING, HELD_OUT = 10, 8
"""Scans with discs; as many without."""
LIGHT_LX = (1200.0, 3000.0)
MODES: dict[str, dict[str, object]] = {
    "1x1": {},
    "2x2 digital": {"acquisition.binning": "2x2", "acquisition.binning_domain": "digital"},
    "2x2 charge": {"acquisition.binning": "2x2"},
}
BASE = changed(
    sample_setup(),
    {"camera.prnu": 0.0, "camera.dsnu": "0 e"},  # as after a perfect correction
)
EPOCHS, BATCH = 12, 256

Patches = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Labelled:
    """Patches and whether each has a disc."""

    patches: torch.Tensor
    has_disc: torch.Tensor


def painted(setup: Setup, side_px: int, rng: np.random.Generator) -> ArrayReference:
    """Draw white with a dark disc in every patch, within half a sample of its middle."""
    place = station(setup).geometry
    pitch_um = float(place.object_pixel_x_um) / FINENESS
    cell_px, radius_px = side_px * FINENESS, SIZE_UM / 2 / pitch_um
    data = np.ones((PATCHES_ACROSS * cell_px, PATCHES_ACROSS * cell_px), dtype=np.float32)
    inside = np.arange(cell_px)
    phases = rng.uniform(-0.5, 0.5, (PATCHES_ACROSS, PATCHES_ACROSS, 2))
    for row, column in np.ndindex(PATCHES_ACROSS, PATCHES_ACROSS):
        y_px, x_px = cell_px / 2 + FINENESS * phases[row, column]
        covered = disc(inside[None, :] - x_px, inside[:, None] - y_px, radius_px)
        lines = slice(row * cell_px, (row + 1) * cell_px)
        data[lines, column * cell_px : (column + 1) * cell_px] -= CONTRAST * covered
    return ArrayReference(data=data, pixel_size_um=pitch_um)


def targets(
    setup: Setup, side_px: int, rng: np.random.Generator
) -> tuple[ArrayReference, ArrayReference]:
    """Give white, and white with discs."""
    white = ArrayReference(data=np.ones((1, 1), dtype=np.float32), pixel_size_um=SIZE_UM)
    return white, painted(setup, side_px, rng)


def cut(image: NDArray[Any], side_px: int) -> Patches:
    """Cut a scan into patches."""
    cells = image.reshape(PATCHES_ACROSS, side_px, PATCHES_ACROSS, side_px).swapaxes(1, 2)
    return cells.reshape(-1, 1, side_px, side_px).astype(np.float32)


def scans(setup: Setup, side_px: int, count: int, seed: int) -> Labelled:
    """Scan discs and white so many times, and cut the scans into patches."""
    both = targets(setup, side_px, np.random.default_rng(seed))
    lines = PATCHES_ACROSS * side_px
    found, has_disc = [], []
    for index in range(count):
        for there, target in enumerate(both):
            noise_seed = 10_000 * seed + 2 * index + there
            found.append(cut(render(setup, target, lines, noise_seed).image, side_px))
            has_disc.append(np.full(len(found[-1]), there, dtype=np.float32))
    return Labelled(
        patches=torch.from_numpy(np.concatenate(found)),
        has_disc=torch.from_numpy(np.concatenate(has_disc)),
    )


def best_linear_dprime(setup: Setup, side_px: int) -> float:
    """Give d' of the best single template: the mean of the discs' signals over their phases."""
    white, discs = targets(setup, side_px, np.random.default_rng(3))
    lines = PATCHES_ACROSS * side_px
    white_e, discs_e = (render(setup, each, lines, 0).expected_e for each in (white, discs))
    template_e = cut(white_e - discs_e, side_px).mean(axis=0, dtype=np.float64)
    noise_e = float(station(setup).noise_e(float(white_e.mean())))
    return float(np.linalg.norm(template_e)) / noise_e


def linear(side_px: int) -> nn.Module:
    """Weigh samples: logistic regression."""
    return nn.Sequential(nn.Flatten(), nn.Linear(side_px**2, 1))


def network(side_px: int) -> nn.Module:
    """Look with eight kernels twice, then weigh."""
    return nn.Sequential(
        nn.Conv2d(1, 8, 3, padding=1),
        nn.ReLU(),
        nn.Conv2d(8, 8, 3, padding=1),
        nn.ReLU(),
        nn.Flatten(),
        nn.Linear(8 * side_px**2, 1),
    )


def trained(model: nn.Module, given: Labelled) -> nn.Module:
    """Train on shuffled batches; the step falls to nothing along a cosine."""
    order = torch.Generator().manual_seed(1)
    steps = EPOCHS * ceil(len(given.patches) / BATCH)
    adam = torch.optim.AdamW(model.parameters(), lr=3e-3, weight_decay=1e-2)
    pace = torch.optim.lr_scheduler.CosineAnnealingLR(adam, steps)
    loss = nn.BCEWithLogitsLoss()
    for _ in range(EPOCHS):
        for batch in torch.split(torch.randperm(len(given.patches), generator=order), BATCH):
            adam.zero_grad()
            loss(model(given.patches[batch])[:, 0], given.has_disc[batch]).backward()
            adam.step()
            pace.step()
    return model


def roc_area(model: nn.Module, given: Labelled) -> float:
    """Share of pairs, one patch with a disc and one without, in the right order."""
    with torch.no_grad():
        said = torch.cat([model(part)[:, 0] for part in torch.split(given.patches, 4096)]).numpy()
    has_disc = given.has_disc.numpy() > 0
    n, m = int(has_disc.sum()), int((~has_disc).sum())
    return float((rankdata(said)[has_disc].sum() - n * (n + 1) / 2) / (n * m))


def area_sd(area: float, count: int) -> float:
    """Give the standard error of an area, count patches of each kind (Hanley and McNeil 1982)."""
    both, one = area / (2 - area) - area**2, 2 * area**2 / (1 + area) - area**2
    return sqrt((area * (1 - area) + (count - 1) * (both + one)) / count**2)


def row(light_lx: float, mode: str) -> str:
    """Train and try both detectors in one mode; a row of the table."""
    setup = changed(BASE, {"light.illuminance": f"{light_lx:g} lx", **MODES[mode]})
    object_pixel_um = float(station(setup).geometry.object_pixel_x_um)
    side_px = ceil((SIZE_UM + 2 * REACH_UM) / object_pixel_um)
    joined = 2 if "2x2" in mode else 1
    setup = changed(setup, {"camera.pixels": joined * PATCHES_ACROSS * side_px})
    ideal = float(dprime(station(setup), Disc(diameter_um=SIZE_UM), CONTRAST))
    training, held_out = (
        scans(setup, side_px, count, seed) for count, seed in ((TRAINING, 1), (HELD_OUT, 2))
    )
    mean, spread = training.patches.mean(), training.patches.std()
    training, held_out = (
        Labelled(patches=(each.patches - mean) / spread, has_disc=each.has_disc)
        for each in (training, held_out)
    )
    torch.manual_seed(0)
    areas = [roc_area(trained(make(side_px), training), held_out) for make in (linear, network)]
    bound, best = (
        float(ndtr(found / sqrt(2))) for found in (ideal, best_linear_dprime(setup, side_px))
    )
    sd = area_sd(bound, len(held_out.patches) // 2)
    cells = [
        f"{light_lx:g} lx",
        mode,
        f"{side_px} x {side_px}",
        f"{ideal:.3f}",
        f"{bound:.4f}",
        f"{best:.4f}",
    ]
    cells += [f"{area:.4f}" for area in areas] + [f"{sd:.4f}"]
    return f"| {' | '.join(cells)} |"


def main() -> None:
    """Print the table."""
    torch.set_num_threads(1)  # batches this small gain nothing from more
    torch.use_deterministic_algorithms(mode=True)
    heads = (
        "light",
        "mode",
        "patch px",
        "d'",
        "Φ(d'/√2)",
        "one template",
        "linear",
        "network",
        "one sd",
    )
    sys.stdout.write(f"| {' | '.join(heads)} |\n|{'---|' * len(heads)}\n")
    for light_lx in LIGHT_LX:
        for mode in MODES:
            sys.stdout.write(row(light_lx, mode) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
