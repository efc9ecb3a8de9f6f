"""
Time the whole job, in several ways, side by side in one run.

``python -m tests.bench.run`` prints the table of ``tests/bench/README.md``; ``--quick`` takes the
first rows only. Every measurement runs in a process of its own, so that its peak memory is its own;
the reference is made before the clock starts, as float32 in memory. Wall and CPU are the median of
the repeats. Every image is checked: nothing saturated, mean within 1 % of the closed form, noise
within 5 % of it.
"""

import argparse
import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from linesim.setup.setup import Setup

Image = NDArray[np.float32]
PIXEL_UM = 7.5
MAGNIFICATION = 0.1
LENS_SIGMA_PX = 0.3
GAIN_DN_E = 0.1
READ_NOISE_E = 20.0
WHITE_E = 20_000.0
RIPPLE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One measurement: which way, how many samples, how fine a reference, which options."""

    way: str
    width: int
    lines: int
    oversampling: float
    binning: str = "1x1"
    ripple: bool = False
    repeats: int = 5

    def label(self) -> str:
        """Name the job in the table, the way left out."""
        extra = ", ripple" if self.ripple else ""
        size = f"{self.width} x {self.lines}"
        return f"{size}, oversampling {self.oversampling:g}, {self.binning}{extra}"


def reference_for(job: Job) -> Image:
    """Make a reference of even noise between 0.2 and 0.8, mean one half."""
    rows, columns = (round(side * job.oversampling) for side in (job.lines, job.width))
    data = np.random.default_rng(1).random((rows, columns), dtype=np.float32)
    data *= np.float32(0.6)
    data += np.float32(0.2)
    return data


def our_setup(job: Job, f_number: float) -> "Setup":
    """Set linesim up for the job: same pixel, lens, motion, electrons and noise."""
    from linesim.setup.load import setup_from  # noqa: PLC0415 -- not for the other ways

    across, along = (int(factor) for factor in job.binning.split("x"))
    pitch_um = PIXEL_UM / MAGNIFICATION * across / job.oversampling
    return setup_from(
        {
            "title": "benchmark",
            "target": {"image": "flat", "pixel_size": f"{pitch_um} um", "white_reflectance": 1.0},
            "transport": {
                "speed": "1 m/s",
                "speed_ripple": RIPPLE if job.ripple else 0.0,
                "ripple_frequency": "20 Hz",
            },
            "lens": {
                "magnification": MAGNIFICATION,
                "f_number": f_number,
                "blur": f"{LENS_SIGMA_PX * PIXEL_UM} um",
                "transmission": 1.0,
            },
            "light": {"irradiance": f"{irradiance_w_m2(across * along * along, f_number)} W/m^2"},
            "camera": {
                "pixels": job.width * across,
                "pixel_width": f"{PIXEL_UM} um",
                "read_noise": f"{READ_NOISE_E} e",
                "full_well": "40 ke",
                "gain": f"{GAIN_DN_E} DN/e",
                "black_level": 0,
            },
            "acquisition": {"binning": job.binning},
        }
    )


def our_scan(job: Job) -> Callable[[Image], NDArray[np.uint16]]:
    """Take the way of linesim itself."""
    from linesim.forward.reference import ArrayReference  # noqa: PLC0415 -- not for the other ways
    from linesim.forward.render import render  # noqa: PLC0415 -- the same

    f_number, off_axis_error = OURS[job.way]
    setup = our_setup(job, f_number)
    pitch_um = setup.target.pixel_size_um

    def run(data: Image) -> NDArray[np.uint16]:
        seen = ArrayReference(data=data, pixel_size_um=pitch_um)
        return render(setup, seen, job.lines, 0, off_axis_error=off_axis_error).image

    return run


def irradiance_w_m2(share: float, f_number: float = 4.0) -> float:
    """Give the irradiance that makes WHITE_E electrons of a delivered pixel."""
    from linesim.forward.station import station  # noqa: PLC0415 -- not for the other ways
    from linesim.setup.load import setup_from  # noqa: PLC0415 -- the same

    setup = setup_from(
        {
            "title": "one watt",
            "target": {"image": "flat", "pixel_size": "20 um", "white_reflectance": 1.0},
            "transport": {"speed": "1 m/s"},
            "lens": {"magnification": MAGNIFICATION, "f_number": f_number, "transmission": 1.0},
            "light": {"irradiance": "1 W/m^2"},
            "camera": {"pixels": 64, "pixel_width": f"{PIXEL_UM} um"},
        }
    )
    return float(WHITE_E / (float(station(setup).electrons_white) * share))


def same_lens_scan(job: Job) -> Callable[[Image], NDArray[np.uint16]]:
    """Set OpenCV up with the lens that linesim gives to the job."""
    from tests.bench.lens_cv import lens_job, lens_scan  # noqa: PLC0415 -- one way a process

    made = lens_job(
        our_setup(job, F_NUMBER), round(job.oversampling), (WHITE_E, READ_NOISE_E, GAIN_DN_E, 12)
    )
    return lambda data: lens_scan(data, made, 0)


def other_scan(job: Job) -> Callable[[Image], NDArray[np.uint16]]:
    """Set the plain or the OpenCV way up for the job."""
    if job.way == "plain":
        from tests.bench.plain import plain_scan as scan_of  # noqa: PLC0415 -- one way a process
    elif job.way == "opencv, whole arrays":
        from tests.bench.whole_cv import whole_scan as scan_of  # noqa: PLC0415 -- the same
    else:
        from tests.bench.careful_cv import careful_scan as scan_of  # noqa: PLC0415 -- the same

    def run(data: Image) -> NDArray[np.uint16]:
        return scan_of(
            data,
            oversampling=job.oversampling,
            lens_sigma_px=LENS_SIGMA_PX / (2 if job.binning == "2x2" else 1),
            motion_px=1.0,
            electrons=WHITE_E,
            read_noise_e=READ_NOISE_E,
            gain=GAIN_DN_E,
            bits=12,
            seed=0,
        )

    return run


def floor(data: Image) -> NDArray[np.uint16]:
    """Read the reference once and write an image, in two threads: no way can be faster."""
    lines = np.array_split(np.arange(len(data) // 4), 2)
    image = np.empty((len(data) // 4, data.shape[1] // 4), dtype=np.uint16)

    def half(part: NDArray[np.int64]) -> None:
        for first in range(int(part[0]), int(part[-1]) + 1, 16):
            last = min(first + 16, int(part[-1]) + 1)
            image[first:last] = data[4 * first : 4 * last].max()

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(half, lines))
    return image


def check(image: NDArray[np.uint16]) -> None:
    """Refuse to time an image that is not the job done."""
    mean_e = 0.5 * WHITE_E
    if not image.max() < 4095:
        msg = "the image is saturated"
        raise ValueError(msg)
    if not abs(image.mean() / (GAIN_DN_E * mean_e) - 1) < 0.01:
        msg = f"the mean is {image.mean()} DN"
        raise ValueError(msg)
    # neighbours two apart share little of the reference: their difference holds the noise at least
    least = GAIN_DN_E * np.sqrt(mean_e + READ_NOISE_E**2)
    spread = np.std(np.diff(image[::2, ::2].astype(np.float64), axis=1)) / np.sqrt(2)
    if not spread > 0.95 * least:
        msg = f"the noise is {spread} DN, expected are at least {least} DN"
        raise ValueError(msg)


def measure(job: Job) -> dict[str, float]:
    """Run one job in this process."""
    data = reference_for(job)
    if job.way in OURS:
        run = our_scan(job)
    elif job.way == SAME_LENS:
        run = same_lens_scan(job)
    elif job.way == "floor":
        run = floor
    else:
        run = other_scan(job)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    wall, cpu = [], []
    image = run(data)
    if job.way != "floor":
        check(image)
    for _ in range(job.repeats):
        start, start_cpu = time.perf_counter(), time.process_time()
        run(data)
        wall.append(time.perf_counter() - start)
        cpu.append(time.process_time() - start_cpu)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return {
        "wall_s": statistics.median(wall),
        "cpu_s": statistics.median(cpu),
        "reference_mb": data.nbytes / 1e6,
        "extra_mb": (after - before) / 1e3,
    }


def in_a_process(job: Job) -> dict[str, float]:
    """Run one job in a fresh process."""
    command = [sys.executable, "-m", "tests.bench.run", "--job", json.dumps(asdict(job))]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


F_NUMBER = 4.0
OURS = {
    "ours": (F_NUMBER, 0.006),
    "ours, one term": (F_NUMBER, 1.0),
    "ours, blur alone": (0.5, 0.01),
}
"""F-number, and error allowed to the lens between its axes: the default, and two with one term.
At f/0.5 the transfer is within 0.02 of the Gaussian that the other ways have, up to Nyquist."""
SAME_LENS = "opencv, tuned, our lens"
WAYS = (*OURS, "floor", "opencv, tuned", SAME_LENS, "opencv, whole arrays", "plain")
ROWS = (
    (4096, 1800, 4.0, "1x1", False),
    (4096, 1800, 4.0, "2x2", False),
    (4096, 1800, 4.0, "1x1", True),
    (4096, 1800, 2.0, "1x1", False),
    (4096, 1800, 3.3, "1x1", False),
    (1024, 1024, 4.0, "1x1", False),
    (2048, 2048, 4.0, "1x1", False),
    (4096, 4096, 4.0, "1x1", False),
    (8192, 8192, 4.0, "1x1", False),
    (16384, 16384, 2.0, "1x1", False),
)
_LARGE = 20_000_000


def does(way: str, row: tuple[int, int, float, str, bool]) -> bool:
    """Tell whether a way can do a row; ripple is ours alone, and 17 GB are too many for plain."""
    width, lines, oversampling, binning, ripple = row
    whole, large = float(64 * oversampling).is_integer(), width * lines > _LARGE
    single = oversampling == 4 and binning == "1x1"
    can = {
        "floor": single,
        "opencv, tuned": whole,
        SAME_LENS: whole and single and not large,
    }
    return way in OURS or (can.get(way, not large) and not ripple)


def table(rows: tuple[tuple[int, int, float, str, bool], ...]) -> None:
    """Print the table, a row as soon as it is measured."""
    print("| job | way | wall s | CPU s | ns a sample | extra memory MB | times ours |")  # noqa: T201 -- a program for the console
    print("|---|---|---|---|---|---|---|")  # noqa: T201 -- a program for the console
    for row in rows:
        width, lines, oversampling, binning, ripple = row
        ours = 0.0
        for way in WAYS:
            if not does(way, row):
                continue
            job = Job(
                way=way,
                width=width,
                lines=lines,
                oversampling=oversampling,
                binning=binning,
                ripple=ripple,
                repeats=2 if way == "plain" else 7,
            )
            found = in_a_process(job)
            ours = ours or found["wall_s"]
            each_ns = 1e9 * found["wall_s"] / (width * lines)
            print(  # noqa: T201 -- the table is the output
                f"| {job.label()} | {way} | {found['wall_s']:.3f} | {found['cpu_s']:.3f} "
                f"| {each_ns:.1f} | {found['extra_mb']:.0f} of {found['reference_mb']:.0f} "
                f"| {found['wall_s'] / ours:.2f} |",
                flush=True,
            )


def main() -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[1])
    parser.add_argument("--quick", action="store_true", help="the first two rows only")
    parser.add_argument("--job", help="one job as JSON, for a process of its own")
    asked = parser.parse_args()
    if asked.job:
        print(json.dumps(measure(Job(**json.loads(asked.job)))))  # noqa: T201 -- for the parent
    else:
        table(ROWS[:2] if asked.quick else ROWS)


if __name__ == "__main__":
    main()
