"""
A detector learned from linesim's images, tried on images of code that is not linesim's.

``.venv/bin/python -m tests.bench.transfer --device cuda``; needs the extra torch.

The same small network learns from images of four plans, and is tried on one test set by
``other_product.py``: recycled board, drawn, lit and read by numpy alone. The plans:

shipped       ``sample_targets/foil_set.toml`` as it is, which is another product
wide          the same with ``[vary] preset = "wide"``: the other product, of many stations
own, wide     the same again, its scenes made by ``linesim target extend`` from one photograph of
              good board, 13 mm each way, that is not in the test set
own faults    the same again, with six cut-outs of faults from six photographs of their own in
              place of the faults of a foil line

Average precision is of boxes of any kind of fault, as COCO counts it but at one limit. Beside the
test set stands the plan's own: images of its scenes that the network did not learn from.

Theory bounds the test: who knows a fault, its place and the board under it finds it with d' in the
camera's noise alone, which is told below the table. What is missed is missed for the texture.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import mean, stdev
from typing import Any

import imageio.v3 as iio
import numpy as np
import torch
from numpy.typing import NDArray
from scipy.ndimage import find_objects, label
from torch import nn
from torch.nn import functional

from linesim.dataset.item import item
from linesim.dataset.plan.plan import Plan
from linesim.dataset.plan.plan_file import plan_from
from linesim.dataset.score.matching import Truth, matched, precisions
from linesim.dataset.score.predictions import Prediction
from tests.bench.other_product import BLACK_DN, FAULTS, FINE_UM, Box, cutout, photograph, shot

SEEDS = (1, 2, 3)
TESTED = 120
SHIPPED = Path("sample_targets")
LIMIT = 0.3
"""Intersection over union from which a fault is found: many cover few samples."""
LIKELY = 0.3
"""From there a sample counts to a box."""
BATCH, SIDE_CUT = 16, 96


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """An image and what is to be found in it."""

    samples: NDArray[np.float32]  # against the image's own median
    faulty: NDArray[np.bool_]
    boxes: tuple[Box, ...]


def level(image_dn: NDArray[Any]) -> NDArray[np.float32]:
    """Set an image against its own median, whoever made it."""
    signal = image_dn.astype(np.float32) - np.float32(BLACK_DN)
    return np.asarray(4 * (signal / np.median(signal) - 1), dtype=np.float32)


def web(folder: Path) -> Path:
    """Extend one photograph of good board, by the command."""
    photo, made = folder / "board.tif", folder / "web.tif"
    iio.imwrite(photo, photograph(np.random.default_rng(7)))
    words = ["target", "extend", str(photo), "--pixel-size", f"{FINE_UM:g} um"]
    words += ["--size", "24 mm x 600 mm", "--encoding", "linear", "--out", str(made)]
    subprocess.run([sys.executable, "-m", "linesim", *words], check=True, capture_output=True)
    return made


def own_faults(folder: Path) -> dict[str, Any]:
    """Cut two faults of each kind out, and say where they are."""
    rng, table = np.random.default_rng(8), {}
    for kind in FAULTS:
        for which in range(2):
            iio.imwrite(folder / f"{kind}_{which}.png", cutout(kind, rng))
        size = f"{FINE_UM:g} um"
        table[kind] = {"images": f"{kind}_*.png", "pixel_size": size, "encoding": "linear"}
        table[kind] |= {"size": "0.7:1.4:log", "strength": "0.7:1.3", "count": "0:1"}
    return {"kinds": list(FAULTS), **table}


def plans(made: Path, seed: int, count: int) -> dict[str, Plan]:
    """Give the plans by name."""
    text = tomllib.loads((SHIPPED / "foil_set.toml").read_text("utf-8"))
    shipped: dict[str, Any] = {**text, "count": count, "seed": seed}
    shipped["splits"] = {"train": 0.75, "val": 0.25, "test": 0.0}
    light = {"illuminance": text["vary"]["light"]["illuminance"]}
    wide = {**shipped, "vary": {"preset": "wide", "light": light}}
    station = (SHIPPED / "foil_dim.toml").read_text("utf-8")
    old = 'image = "foil.png"\npixel_size = "20 um"'
    new = f'image = "{made}"\npixel_size = "{FINE_UM:g} um"\nencoding = "linear"'
    (made.parent / "board.toml").write_text(station.replace(old, new), "utf-8")
    own = {**wide, "setup": "board.toml", "scenes": {"files": [made.name]}}
    own.pop("regions", None)  # they tell a foil's coating from its margins
    own["splits"] = {"train": 1.0, "val": 0.0, "test": 0.0}
    with_own_faults = {**own, "faults": own_faults(made.parent)}
    return {
        "shipped": plan_from(shipped, SHIPPED),
        "wide": plan_from(wide, SHIPPED),
        "own, wide": plan_from(own, made.parent),
        "own faults": plan_from(with_own_faults, made.parent),
    }


def image_of(plan: Plan, index: int) -> Seen:
    """Make an image of a plan; to be found is what is labelled."""
    made = item(plan, index)
    found = tuple(each.outline.box for each in made.instances if each.outline is not None)
    return Seen(samples=level(made.image), faulty=made.mask > 0, boxes=found)


def test_set() -> tuple[list[Seen], list[float]]:
    """Take the test images, half of them of good board; d' of their faults in noise alone."""
    rng, taken, dprimes = np.random.default_rng(99), [], list[float]()
    for k in range(TESTED):
        one = shot(rng, faults=int(rng.integers(1, 4)) * (k % 2))
        dprimes += one.dprimes
        nothing = np.zeros(one.image_dn.shape, dtype=np.bool_)
        taken.append(Seen(samples=level(one.image_dn), faulty=nothing, boxes=one.boxes))
    return taken, dprimes


def _two(inside: int, outside: int) -> nn.Module:
    return nn.Sequential(
        nn.Conv2d(inside, outside, 3, padding=1),
        nn.ReLU(),
        nn.Conv2d(outside, outside, 3, padding=1),
        nn.ReLU(),
    )


class Network(nn.Module):
    """Look at three finenesses and hand the finer ones on (a small U-Net)."""

    def __init__(self, width: int = 24) -> None:
        super().__init__()
        self.fine, self.coarse, self.coarsest = (
            _two(1, width),
            _two(width, width),
            _two(width, width),
        )
        self.coarse_up, self.fine_again = _two(2 * width, width), _two(2 * width, width)
        self.last = nn.Conv2d(width, 1, 1)
        nn.init.constant_(self.last.bias, -4.0)  # type: ignore[arg-type]

    def forward(self, image: torch.Tensor) -> torch.Tensor:
        """Give logits of a fault, sample by sample."""
        fine = self.fine(image)
        half = self.coarse(functional.max_pool2d(fine, 2))
        up = functional.interpolate(self.coarsest(functional.max_pool2d(half, 2)), scale_factor=2)
        up = functional.interpolate(self.coarse_up(torch.cat((half, up), 1)), scale_factor=2)
        logits: torch.Tensor = self.last(self.fine_again(torch.cat((fine, up), 1)))
        return logits


def batches(
    given: list[Seen], steps: int, seed: int, device: str
) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
    """Cut pieces out, half of them about a sample of a fault, turned and mirrored."""
    rng = np.random.default_rng(seed)
    faulty = [each for each in given if each.faulty.any()]
    where = [np.argwhere(each.faulty) for each in faulty]
    for _ in range(steps):
        cuts = np.empty((2, BATCH, SIDE_CUT, SIDE_CUT), dtype=np.float32)
        for place in range(BATCH):
            if place < BATCH // 2:
                chosen = int(rng.integers(len(faulty)))
                seen = faulty[chosen]
                middle = where[chosen][rng.integers(len(where[chosen]))]
                corner = middle - rng.integers(SIDE_CUT, size=2)
            else:
                seen = given[int(rng.integers(len(given)))]
                corner = rng.integers(np.array(seen.faulty.shape) - SIDE_CUT + 1)
            top, left = np.clip(corner, 0, np.array(seen.faulty.shape) - SIDE_CUT)
            turn, mirror = int(rng.integers(4)), int(rng.integers(2))
            for which, image in enumerate((seen.samples, seen.faulty)):
                cut = np.rot90(image[top : top + SIDE_CUT, left : left + SIDE_CUT], turn)
                cuts[which, place] = cut[:, ::-1] if mirror else cut
        both = torch.from_numpy(cuts).to(device)
        yield both[0, :, None], both[1, :, None]


def learn(given: list[Seen], steps: int, seed: int, device: str) -> nn.Module:
    """Train; the step falls to nothing along a cosine."""
    torch.manual_seed(seed)
    model = Network().to(device)
    adam = torch.optim.AdamW(model.parameters(), lr=2e-3)
    pace = torch.optim.lr_scheduler.CosineAnnealingLR(adam, steps)
    loss = nn.BCEWithLogitsLoss()
    for images, masks in batches(given, steps, seed, device):
        adam.zero_grad()
        loss(model(images), masks).backward()
        adam.step()
        pace.step()
    return model


def boxes(model: nn.Module, seen: Seen, image_id: int, device: str) -> list[Prediction]:
    """Box the pieces of likely samples, each as likely as its likeliest sample."""
    rows, columns = (4 * (side // 4) for side in seen.samples.shape)  # halved twice
    image = torch.from_numpy(seen.samples[:rows, :columns]).to(device)
    with torch.no_grad():
        likely = torch.sigmoid(model(image[None, None]))[0, 0].cpu().numpy()
    pieces, _ = label(likely >= LIKELY, np.ones((3, 3)))
    return [
        Prediction(
            image_id=image_id,
            category_id=1,
            bbox=(x.start, y.start, x.stop - x.start, y.stop - y.start),
            score=float(likely[y, x].max()),
        )
        for y, x in find_objects(pieces)
    ]


def average_precision(model: nn.Module, tried: list[Seen], device: str) -> float:
    """Score on images that were not learned from."""
    truths = [
        Truth(image_id=k, category_id=1, bbox=box)
        for k, each in enumerate(tried)
        for box in each.boxes
    ]
    said = [one for k, each in enumerate(tried) for one in boxes(model, each, k, device)]
    return float(precisions(truths, matched(truths, said, LIMIT))[1])


def _words() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="A detector tried on strange images.")
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--images", type=int, default=240)
    parser.add_argument("--steps", type=int, default=2500)
    parser.add_argument("--seeds", type=int, default=len(SEEDS))
    return parser.parse_args()


def tried(
    plan: Plan,
    seed: int,
    asked: argparse.Namespace,
    tested: list[Seen],
    workers: ProcessPoolExecutor,
) -> tuple[float, float]:
    """Learn from three quarters of a plan's images; score on the rest and on the test set."""
    images = list(workers.map(partial(image_of, plan), range(asked.images), chunksize=4))
    kept = 3 * asked.images // 4
    model = learn(images[:kept], asked.steps, seed, asked.device)
    own = average_precision(model, images[kept:], asked.device)
    return own, average_precision(model, tested, asked.device)


def table(found: dict[str, list[tuple[float, float]]]) -> Iterator[str]:
    """Give the table's rows; each plan's precision on the test set, then on its own images."""
    seeds = range(1, 1 + len(found["shipped"]))
    heads = ("plan", *(f"seed {k}" for k in seeds), "mean", "sd", "times shipped", "its own images")
    yield f"| {' | '.join(heads)} |"
    yield f"|{'---|' * len(heads)}"
    first = mean(other for _, other in found["shipped"])
    for words, each in found.items():
        others = [other for _, other in each]
        spread = stdev(others) if len(others) > 1 else 0.0
        cells = [f"{value:.3f}" for value in (*others, mean(others), spread)]
        own = mean(own for own, _ in each)
        yield f"| {words} | {' | '.join(cells)} | {mean(others) / first:.1f} | {own:.3f} |"


def main() -> None:
    """Print the table."""
    asked = _words()
    torch.set_num_threads(1)
    tested, dprimes = test_set()
    found: dict[str, list[tuple[float, float]]] = {}
    with tempfile.TemporaryDirectory() as name, ProcessPoolExecutor(os.cpu_count()) as workers:
        made = web(Path(name).resolve())
        for seed in SEEDS[: asked.seeds]:
            for words, plan in plans(made, seed, asked.images).items():
                both = tried(plan, seed, asked, tested, workers)
                found.setdefault(words, []).append(both)
                sys.stderr.write(f"{words}, seed {seed}: {both[1]:.3f}\n")
    sys.stdout.write("".join(f"{row}\n" for row in table(found)))
    sys.stdout.write(
        f"\n{TESTED} images of board with {len(dprimes)} faults, the faintest of d' "
        f"{min(dprimes):.0f} in noise alone, {np.median(dprimes):.0f} in the middle; "
        f"{asked.images} images and {asked.steps} steps a plan\n"
    )


if __name__ == "__main__":
    main()
