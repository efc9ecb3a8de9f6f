"""Rows of the tables of ``tests/bench/gpu.py``: stations, clocks, what is held against numpy."""

import platform
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version

import numpy as np
import torch

from linesim.forward.capture import capturer
from linesim.forward.device.drawn import draw_on
from linesim.forward.device.launch import Form
from linesim.forward.device.render import DeviceReference, Method, device_renderer
from linesim.forward.device.windows import Windows
from linesim.forward.reference import ArrayReference
from linesim.forward.render import Rendered, render
from linesim.forward.spread import OFF_AXIS_ERROR
from linesim.setup.load import setup_from
from linesim.setup.setup import Setup
from tests.bench.run import (
    GAIN_DN_E,
    LENS_SIGMA_PX,
    MAGNIFICATION,
    PIXEL_UM,
    READ_NOISE_E,
    irradiance_w_m2,
)

OVERSAMPLING = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One way to apply the tables."""

    name: str
    way: Method
    form: Form = field(default_factory=Form)
    off_axis_error: float = OFF_AXIS_ERROR


def station_for(width: int, binning: str, irradiance: float = 1.0) -> tuple[Setup, float]:
    """Set a station up; give the reference's pixel too. [µm]."""
    across, along = (int(factor) for factor in binning.split("x"))
    pitch_um = PIXEL_UM / MAGNIFICATION * across / OVERSAMPLING
    light_w_m2 = irradiance * irradiance_w_m2(across * along * along)
    setup = setup_from(
        {
            "title": "benchmark",
            "target": {"image": "flat", "pixel_size": f"{pitch_um} um", "white_reflectance": 1.0},
            "transport": {"speed": "1 m/s"},
            "lens": {
                "magnification": MAGNIFICATION,
                "f_number": 4.0,
                "blur": f"{LENS_SIGMA_PX * PIXEL_UM} um",
                "transmission": 1.0,
            },
            "light": {"irradiance": f"{light_w_m2} W/m^2"},
            "camera": {
                "pixels": width * across,
                "pixel_width": f"{PIXEL_UM} um",
                "read_noise": f"{READ_NOISE_E} e",
                "full_well": "40 ke",
                "gain": f"{GAIN_DN_E} DN/e",
                "black_level": "100 DN",
            },
            "acquisition": {"binning": binning},
        }
    )
    return setup, pitch_um


def say(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def waited(device: torch.device) -> float:
    """Wait for the device; give the time. [s]."""
    if device.type == "cuda":
        torch.cuda.synchronize(device)
    return time.perf_counter()


def alone_s(task: Callable[[], object], device: torch.device, repeats: int) -> float:
    """Time a task that is waited for: the median. [s]."""
    taken = []
    for _ in range(repeats):
        start = waited(device)
        task()
        taken.append(waited(device) - start)
    return statistics.median(taken)


def queued_s(task: Callable[[], object], device: torch.device, repeats: int) -> float:
    """Time a task among others handed over at once. [s]."""
    start = waited(device)
    for _ in range(repeats):
        task()
    return (waited(device) - start) / repeats


def reference_on(size: tuple[int, int], pitch_um: float, device: torch.device) -> DeviceReference:
    """Make even noise between 0.2 and 0.8."""
    width, lines = size
    shape = (lines * OVERSAMPLING, width * OVERSAMPLING)
    data = torch.empty(shape, dtype=torch.float32, device=device)
    data.uniform_(0.2, 0.8, generator=torch.Generator(device).manual_seed(1))
    return DeviceReference(data=data, pixel_size_um=pitch_um)


def look(variant: Variant, size: tuple[int, int], binning: str, seen: DeviceReference) -> Windows:
    """Bring one scan's tables to the device."""
    setup, _ = station_for(size[0], binning)
    device = seen.data.device
    made = device_renderer(
        setup,
        seen,
        device=device,
        method=variant.way,
        form=variant.form,
        off_axis_error=variant.off_axis_error,
    )
    return made.windows([0], size[1], [0])


def numbers_of(setup: Setup, window: Windows) -> Callable[[torch.Tensor], torch.Tensor]:
    """Give what draws the numbers of the first channel, its random words being there."""
    half, keep = window.channels[0], capturer(setup, 0, 0, physical=False)
    device, shape = half.sampler.plane.device, (1, half.sampler.width)
    draw = draw_on(half.noise, keep, range(window.lines), shape, device)
    if draw is None:
        msg = "the station of the benchmark is one that a device draws for"
        raise ValueError(msg)
    return draw.numbers


def timed(
    variant: Variant, size: tuple[int, int], binning: str, seen: DeviceReference, repeats: int
) -> float:
    """Time one row of the table and print it; give the samples a second."""
    device = seen.data.device
    start = waited(device)
    window = look(variant, size, binning, seen)
    pixel_e = window.pixels_e(0)[0, 0]
    drawn = numbers_of(station_for(size[0], binning)[0], window)
    drawn(pixel_e)
    ready_s = waited(device) - start

    def whole() -> object:
        return drawn(window.pixels_e(0)[0, 0])

    products_s = queued_s(lambda: window.pixels_e(0), device, repeats)
    second_s = queued_s(lambda: drawn(pixel_e), device, repeats)
    whole_s, apart_s = (way(whole, device, repeats) for way in (queued_s, alone_s))
    copy = torch.empty_like(seen.data)
    copy_s = queued_s(lambda: copy.copy_(seen.data), device, repeats)
    rate = size[0] * size[1] / whole_s
    say(
        f"| {size[0]} x {size[1]}, {binning} | {variant.name} | {rate / 1e9:.3g} "
        f"| {1e3 * products_s:.3f} | {1e3 * second_s:.3f} | {1e3 * whole_s:.3f} "
        f"| {1e3 * apart_s:.3f} | {1e3 * copy_s:.3f} | {whole_s / copy_s:.2f} | {ready_s:.1f} |"
    )
    return rate


def guarded(task: Callable[[], float], name: str) -> float:
    """Run a row; say what went wrong, and go on."""
    try:
        return task()
    except torch.cuda.OutOfMemoryError:
        say(f"| {name}: the device has too little memory |")
    except Exception as error:  # noqa: BLE001 -- the other rows are wanted all the same
        told = " ".join(str(error).split())[:300]
        say(f"| {name}: {type(error).__name__}: {told} |")
    finally:
        if torch.cuda.is_available():
            torch.cuda.empty_cache()
    return 0.0


def small_scan(irradiance: float, width: int = 256, lines: int = 200) -> tuple[Setup, Rendered]:
    """Let numpy render a small scan."""
    setup, pitch_um = station_for(width, "1x1", irradiance)
    return setup, render(setup, small_reference(width, lines, pitch_um), lines, 0)


def small_reference(width: int, lines: int, pitch_um: float) -> ArrayReference:
    """Make black and white squares in disorder, as large as a delivered pixel."""
    white = np.random.default_rng(1).random((lines, width)) < 0.5
    data = np.where(white, 1.0, 0.02).repeat(OVERSAMPLING, axis=0).repeat(OVERSAMPLING, axis=1)
    return ArrayReference(data=data.astype(np.float32), pixel_size_um=pitch_um)


def agreement(variant: Variant, device: torch.device, irradiance: float) -> float:
    """Hold one way against numpy; print a row."""
    setup, known = small_scan(irradiance)
    lines, width = known.image.shape
    seen = small_reference(width, lines, setup.target.pixel_size_um)
    made = device_renderer(setup, seen, device=device, method=variant.way, form=variant.form)
    window = made.windows([0], lines, [0])
    pixel_e = window.pixels_e(0)[0, 0]
    again = bool(torch.equal(window.pixels_e(0)[0, 0], pixel_e))
    part = made.windows([64], 64, [0]).pixels_e(0)[0, 0]
    same = bool(torch.equal(part, pixel_e[64:128]))
    apart = numbers_of(setup, window)(pixel_e).cpu().numpy() != known.image
    expected_e = known.expected_e.astype(np.float64)
    off_e = np.abs(pixel_e.cpu().numpy() - expected_e)
    error, of_white = (off_e / expected_e).max(), off_e.max() / expected_e.max()
    say(
        f"| {variant.name} | {expected_e.mean():.0f} | {error:.1e} | {of_white:.1e} "
        f"| {apart.mean():.1e} | {again} | {same} |"
    )
    return float(error)


def batch(variant: Variant, device: torch.device, *, quick: bool) -> float:
    """Time many short windows of one scan; print a line."""
    size, lines, count = ((256, 400), 64, 8) if quick else ((4096, 4096), 256, 64)
    setup, pitch_um = station_for(size[0], "1x1")
    seen = reference_on(size, pitch_um, device)
    made = device_renderer(setup, seen, device=device, method=variant.way, form=variant.form)
    firsts = np.linspace(0, size[1] - lines, count).astype(int).tolist()
    start = waited(device)
    window = made.windows(firsts, lines, list(range(count)))
    tables_s = waited(device) - start
    window.pixels_e(0)
    whole_s = queued_s(lambda: window.pixels_e(0), device, 5)
    rate = count * lines * size[0] / whole_s
    say(
        f"\n{count} windows of {lines} x {size[0]}, {variant.name}: {rate / 1e9:.3g} billion "
        f"samples a second, before their noise; their tables took {1e3 * tables_s:.0f} ms once"
    )
    return rate


def machine(device: torch.device) -> str:
    """Name what runs here."""
    try:
        triton = version("triton")
    except PackageNotFoundError:
        triton = "none"
    told = f"python {platform.python_version()}, torch {torch.__version__}, triton {triton}, numpy "
    told += np.__version__
    if device.type != "cuda":
        return f"{device.type}, {torch.get_num_threads()} threads; {told}"
    card = torch.cuda.get_device_properties(device)
    return (
        f"{card.name}, {card.multi_processor_count} multiprocessors, "
        f"{card.total_memory / 1e9:.0f} GB, CUDA {torch.version.cuda}; {told}"
    )
