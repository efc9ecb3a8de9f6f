"""
Time the device way: one command, one table.

``python -m tests.bench.gpu`` runs on the first CUDA device, ``--device cpu --quick`` anywhere. The
reference, of even noise, is on the device before the clock starts, and so are the tables. "alone"
waits for each scan, the host's part included; "queued" hands ten over at once. Each way is held
against numpy on a small scan first. A row that fails says why, and the next one runs.
"""

import argparse
from dataclasses import replace
from functools import partial

import torch

from linesim.forward.device.launch import Form, kernels_run_on
from tests.bench.gpu_rows import (
    Variant,
    agreement,
    batch,
    guarded,
    machine,
    reference_on,
    say,
    station_for,
    timed,
)

SIZES = ((4096, 1800), (8192, 8192))
GOAL_PER_S = 16e9
FORMS = (
    Form(),
    Form(stages=4),
    Form(stages=2),
    Form(group=16),
    Form(columns_at_once=128),
    Form(rows_at_once=64),
    Form(rows_at_once=16, stages=4),
    Form(lines=32),
    Form(lines=32, columns_at_once=128),
    Form(columns=32),
    Form(columns=128),
    Form(warps=8),
)


def label(form: Form) -> str:
    """Name a form in the table."""
    sides = f"{form.lines}x{form.columns}, {form.rows_at_once}x{form.columns_at_once} at once"
    return f"kernel {sides}, {form.warps}w {form.stages}s, group of {form.group}"


def variants(device: torch.device, *, quick: bool) -> list[Variant]:
    """List the ways that run here."""
    found = [Variant(name="products", way="products")]
    if kernels_run_on(device):
        forms = FORMS[:2] if quick else FORMS
        found += [Variant(name=label(form), way="kernels", form=form) for form in forms]
    return found


def agreements(ways: list[Variant], device: torch.device) -> None:
    """Hold every way against numpy, in good light and in little."""
    say(
        "\n| way | mean e | largest relative error | of white | share of samples that differ "
        "| again equal | window equal |\n" + "|---" * 7 + "|"
    )
    for irradiance, some in ((1.0, ways), (0.02, ways[:2])):
        for variant in some:
            guarded(partial(agreement, variant, device, irradiance), variant.name)


def row(variant: Variant, size: tuple[int, int], binning: str, device: torch.device) -> float:
    """Make the reference of a row, and time it."""

    def task() -> float:
        seen = reference_on(size, station_for(size[0], binning)[1], device)
        return timed(variant, size, binning, seen, 10 if device.type == "cuda" else 2)

    return guarded(task, f"{size[0]} x {size[1]}, {binning}, {variant.name}")


def fastest(rates: dict[Variant, float]) -> list[Variant]:
    """Pick plain torch and the fastest kernel."""
    kept = []
    for kind in (
        [v for v in rates if v.way == "products"],
        [v for v in rates if v.way == "kernels"],
    ):
        kept += [max(kind, key=lambda v: rates[v])] if kind else []
    return kept


def tables(device: torch.device, *, quick: bool) -> None:
    """Print agreement, the speed of every way, and of the best ones on all sizes."""
    ways = variants(device, quick=quick)
    agreements(ways, device)
    sizes = ((256, 400),) if quick else SIZES
    say(
        "\n| scan | way | billion samples/s | products ms | noise ms | queued ms | alone ms "
        "| copy of the reference ms | times the copy | ready after s |\n" + "|---" * 10 + "|"
    )
    rates = {variant: row(variant, sizes[0], "1x1", device) for variant in ways}
    best = fastest(rates)
    fast = best[-1]
    one_term = replace(fast, name=f"{fast.name}, one lens term", off_axis_error=1.0)
    most = max(rates.values())
    for size in sizes:
        for binning in ("1x1", "2x2"):
            for variant in [*best, one_term]:
                if size == sizes[0] and binning == "1x1" and variant in rates:
                    continue
                rate = row(variant, size, binning, device)
                most = max(most, rate if variant in best else 0.0)
    for variant in best:
        guarded(partial(batch, variant, device, quick=quick), f"windows, {variant.name}")
    verdict = "met" if most >= GOAL_PER_S else "missed"
    say(f"\nthe goal, {GOAL_PER_S / 1e9:.0f} billion samples/s: {verdict}, {most / 1e9:.2f}")


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--quick", action="store_true", help="small sizes only")
    given = parser.parse_args()
    device = torch.device(given.device)
    say(machine(device))
    tables(device, quick=given.quick)


if __name__ == "__main__":
    main()
