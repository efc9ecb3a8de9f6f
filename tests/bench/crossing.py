"""
Where single pixels overtake binned ones: the smallest disc found, over the light, 1x1 and 2x2.

``python -m tests.bench.crossing``, from the top folder: prints the crossings and draws
``outputs/gallery/crossing.png``. Lines are the closed form. Points are injected defects: discs of
the closed form's size are rendered and searched; what their d' differs from the wanted one is
turned into a size by the closed form's slope. Left, both modes expose for the same time; right,
each for the whole of its line period.
"""

import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from linesim.figures.budget import budget
from linesim.report.plots import COLOURS, MARKS, new_figure, png_bytes, style
from linesim.setup.load import changed, load_setup
from linesim.setup.setup import Setup
from linesim.studies.measure.detection.study import inject

ROOT = Path(__file__).parents[2]
BASE = changed(
    load_setup(ROOT / "sample_targets" / "foil_dim.toml"),
    {
        "requirement.defect_contrast": 0.1,
        "requirement.product_reflectance": "white",
        "camera.prnu": 0.0,  # as after a perfect correction
        "camera.dsnu": "0 e",
        "camera.pixels": 2048,
        "camera.bit_depth": 14,
        "camera.full_well": "300 ke",  # a sensor of deep wells, so that no mode saturates here
    },
)
LIGHT_KLX = np.geomspace(1, 160, 50)
INJECTED_KLX = (2.0, 6.0, 20.0, 100.0)
EXPOSURES = {"75 us": "the same exposure, 75 us", "full": "the whole line period each"}
COUNT = 10_000


def station_at(klx: float, mode: str, exposure: str) -> Setup:
    """Set light, mode and exposure."""
    return changed(
        BASE,
        {
            "light.illuminance": f"{klx:.9g} klx",
            "acquisition.binning": mode,
            "acquisition.exposure": exposure,
        },
    )


def smallest_um(klx: float, mode: str, exposure: str) -> float:
    """Give the smallest disc found, by the closed form. [µm]."""
    found = budget(station_at(klx, mode, exposure))
    return found.number("detection", "smallest_detectable_um")


def injected_um(klx: float, mode: str, exposure: str) -> tuple[float, float]:
    """Measure it by injected defects; with the standard error. [µm]."""
    setup, size_um = station_at(klx, mode, exposure), smallest_um(klx, mode, exposure)
    (found,) = inject(changed(setup, {"requirement.smallest_defect": f"{size_um:.9g} um"}), COUNT)
    # the shift alone: a dark defect is less noisy than the product around it
    shift, wanted = float(found.with_defect.mean() - found.without.mean()), found.closed_dprime
    error = np.sqrt((found.with_defect.var() + found.without.var()) / len(found.without))
    # around the wanted size d' grows as some power of it, nearly 2 below a pixel and 1 above
    near = changed(setup, {"requirement.smallest_defect": f"{1.02 * size_um:.9g} um"})
    power = np.log(budget(near).number("detection", "defect_dprime") / wanted) / np.log(1.02)
    measured_um = size_um * (wanted / shift) ** (1 / power)
    return measured_um, float(measured_um * error / shift / power)


def crossing_klx(exposure: str) -> float:
    """Find the light at which both modes find the same disc."""

    def gap(log_klx: float) -> float:
        klx = float(np.exp(log_klx))
        return smallest_um(klx, "1x1", exposure) - smallest_um(klx, "2x2", exposure)

    return float(np.exp(brentq(gap, np.log(LIGHT_KLX[0]), np.log(LIGHT_KLX[-1]), xtol=1e-6)))


def main() -> None:
    """Print the crossings and draw the plot."""
    figure, axes = new_figure(width_mm=190, height_mm=95, columns=2)
    for axis, (exposure, title) in zip(axes[0], EXPOSURES.items(), strict=True):
        for place, mode in enumerate(("1x1", "2x2")):
            sizes = [smallest_um(klx, mode, exposure) for klx in LIGHT_KLX]
            axis.plot(LIGHT_KLX, sizes, label=f"{mode}, closed form", **style(place))
            points = [injected_um(klx, mode, exposure) for klx in INJECTED_KLX]
            for klx, (size_um, sd) in zip(INJECTED_KLX, points, strict=True):
                closed = smallest_um(klx, mode, exposure)
                sys.stdout.write(
                    f"{exposure:6} {mode} {klx:5.1f} klx: closed {closed:6.1f} um, "
                    f"injected {size_um:6.1f} +- {sd:.1f} um\n"
                )
            axis.errorbar(
                INJECTED_KLX,
                [size_um for size_um, _ in points],
                yerr=[2 * sd for _, sd in points],
                color=COLOURS[place],
                marker=MARKS[place],
                linestyle="none",
                label=f"{mode}, injected",
            )
        klx = crossing_klx(exposure)
        sys.stdout.write(f"{exposure}: 1x1 overtakes 2x2 at {klx:.3g} klx\n")
        axis.axvline(klx, color="black", linewidth=0.8, linestyle=":")
        axis.annotate(f"{klx:.3g} klx", (klx, 400), (4, 0), textcoords="offset points")
        axis.set(xscale="log", yscale="log", title=title, xlabel="light on the target, klx")
        axis.set_yticks([60, 100, 200, 400], ["60", "100", "200", "400"])
        axis.minorticks_off()
        axis.legend(loc="lower left", fontsize=8)
    axes[0, 0].set_ylabel("smallest disc found, um")
    (ROOT / "outputs" / "gallery" / "crossing.png").write_bytes(png_bytes(figure, dpi=110))


if __name__ == "__main__":
    main()
