"""What is measured on rendered images lies on the closed-form curves, within its errors."""

import numpy as np
import pytest

from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.batch.judged import weakest
from linesim.studies.vary.rendered import Seen, rendered
from linesim.studies.vary.study import Varied, vary
from linesim.workers.runners import processes
from tests.stations import plain_setup

BASE = plain_setup(
    "Rendered",
    target={"image": "foil", "width": "20 mm", "height": "9 mm"},
    lens={"blur": "2 um"},
    light={"illuminance": "4 klx", "edge_falloff": 0.3},
    camera={"pixels": 128, "prnu": 0.005, "dsnu": "4 e", "read_noise": "20 e"},
    requirement={"smallest_defect": "200 um", "defect_contrast": 0.05},
)

UNASKED = changed(BASE, {"requirement.smallest_defect": None})


def study(figures: list[str], texts: dict[str, str] | None = None) -> Varied:
    """Vary the light over two decades and past saturation, with two ways of binning."""
    return vary(
        BASE,
        texts or {"light.illuminance": "2klx,100klx,400klx"},
        binning=("1x1", "2x2"),
        figures=figures,
    )


def sigmas(found: Varied, each: Seen) -> float:
    """How far a point lies from its curve, in its own standard errors."""
    curve = next(one for one in found.curves if one.title == each.title)
    values = weakest(each.figure, curve.figures[each.figure])
    closed = values[curve.space.places.index(each.place)]
    return float((each.estimate.value - closed) / each.estimate.sd)


def test_signal_noise_and_sharpness() -> None:
    """
    Electrons, SNR and MTF50 within 4.5 standard errors of the closed form, where nothing clips.

    Some 30 comparisons: one in 5000 normal deviates passes 4.5 by chance in all of them.
    """
    names = ["electrons_white", "snr_white", "mtf50_x_lp_mm", "mtf50_y_lp_mm"]
    found = study(names)
    seen = rendered(found, seed=3)
    clear = [each for each in seen if not each.clipped]
    assert {each.figure for each in clear} == set(names)
    assert {each.title for each in clear} == {"1x1", "2x2 charge"}
    # two decades of light for 1x1: 2 klx to 100 klx hold, 400 klx clips
    assert len({each.place for each in clear if each.title == "1x1"}) == 2
    far = {f"{each.title} {each.figure} {each.place}": sigmas(found, each) for each in clear}
    assert {name: value for name, value in far.items() if abs(value) > 4.5} == {}


def test_errors_are_not_too_large() -> None:
    """
    The standard errors are those of the counts: a point half as sure would go unnoticed above.

    256 lines of 128 columns: SNR to 1/√(2·255·128) = 0.391 %, and electrons at SNR 40 to 0.014 %,
    beside the pattern's 0.5 %/√128 = 0.044 %.
    """
    (snr,) = rendered(vary(BASE, {"light.illuminance": "10klx"}, figures=["snr_white"]), seed=5)
    assert snr.estimate.sd / snr.estimate.value == pytest.approx(0.00391, rel=0.03)
    (white,) = rendered(
        vary(BASE, {"light.illuminance": "10klx"}, figures=["electrons_white"]), seed=5
    )
    assert white.estimate.sd / white.estimate.value == pytest.approx(0.00046, rel=0.1)


def test_clipped_points_are_flagged() -> None:
    """
    Past the limit the image clips: white stays at the well, and the point says so.

    White of 1x1 at 400 klx is over twice the full well of 40 ke; full scale is at 40 ke too.
    """
    past = rendered(study(["electrons_white"], {"light.illuminance": "400klx"}), seed=3)
    assert len(past) == 2
    assert all(each.clipped for each in past)
    for each in past:
        # the last steps of the scale: one number is 40e3/4063 = 9.8 e
        assert each.estimate.value == pytest.approx(40e3, abs=12)


def test_detection() -> None:
    """
    Injected defects: d' within 5 standard errors, of some eleven rounds, so that tails are wide.

    A dark defect of 5 % is less noisy than white by 2 % at most, which the spread without defects
    does not see.
    """
    found = study(["defect_dprime"], {"light.illuminance": "4klx,40klx"})
    seen = rendered(found, seed=2)
    clear = [each for each in seen if not each.clipped]
    assert len(clear) >= 3
    far = {f"{each.title} {each.place}": sigmas(found, each) for each in clear}
    assert {name: value for name, value in far.items() if abs(value) > 5} == {}


def test_the_same_seed_gives_the_same_points() -> None:
    """And another seed others."""
    found = vary(BASE, {"light.illuminance": "10klx"}, figures=["snr_white"])
    one, again, other = (rendered(found, seed=seed) for seed in (1, 1, 2))
    assert one == again
    assert one != other


@pytest.mark.nightly
def test_workers_change_no_point() -> None:
    """Two processes, one point of each of two ways of binning."""
    found = study(["snr_white", "mtf50_x_lp_mm"], {"light.illuminance": "10klx"})
    told: list[tuple[int, int]] = []
    with processes(2) as runner:
        seen = rendered(found, seed=1, runner=runner, progress=lambda *each: told.append(each))
    assert seen == rendered(found, seed=1)
    assert told == [(1, 2), (2, 2)]


def test_colours() -> None:
    """A prism: the weakest colour against the weakest curve."""
    prism = changed(BASE, {"camera.kind": "prism", "requirement.smallest_defect": None})
    found = vary(prism, {"light.illuminance": "20klx"}, figures=["snr_white", "mtf50_x_lp_mm"])
    seen = rendered(found, seed=4)
    assert {each.figure for each in seen} == {"snr_white", "mtf50_x_lp_mm"}
    assert max(abs(sigmas(found, each)) for each in seen) < 4.5


def test_progress_is_told() -> None:
    """After each point, how many of how many."""
    told: list[tuple[int, int]] = []
    found = study(["snr_white"], {"light.illuminance": "10klx"})
    rendered(found, progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 2), (2, 2)]


def test_what_cannot_be_read_is_left_out() -> None:
    """In the dark there is neither SNR nor an edge; electrons scatter about none."""
    found = vary(
        changed(BASE, {"light.illuminance": "0 lx"}),
        {"camera.read_noise": "5e,20e"},
        figures=["snr_white", "mtf50_x_lp_mm", "electrons_white"],
    )
    assert {each.figure for each in rendered(found)} <= {"electrons_white", "snr_white"}


@pytest.mark.parametrize(
    ("texts", "figures", "told"),
    [
        ({"lens.f_number": "2,4", "light.illuminance": "1klx,2klx"}, ["snr_white"], "two ranges"),
        ({"lens.f_number": "2:8:lin201"}, ["snr_white"], "read 201 points"),
        ({"lens.f_number": "2,4"}, ["duty"], "no figure that an image can give"),
    ],
)
def test_refusals(texts: dict[str, str], figures: list[str], told: str) -> None:
    """Too much to render, or nothing that could be."""
    with pytest.raises(InputError, match=told):
        rendered(vary(UNASKED, texts, figures=figures))


@pytest.mark.nightly
def test_standard_errors_hold_over_seeds() -> None:
    """
    Over 24 seeds SNR scatters by its standard error: their ratio is 1 to 4/√(2·23).

    The mean of all lies on the curve to 4 standard errors of it.
    """
    small = changed(BASE, {"camera.pixels": 64, "light.edge_falloff": 0.0})
    found = vary(small, {"light.illuminance": "10klx"}, figures=["snr_white"])
    values = np.array([sigmas(found, rendered(found, seed=seed)[0]) for seed in range(24)])
    assert values.std(ddof=1) == pytest.approx(1, abs=4 / np.sqrt(46))
    assert abs(values.mean()) < 4 / np.sqrt(24)
