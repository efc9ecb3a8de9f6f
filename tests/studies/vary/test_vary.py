"""One quantity or two varied: where requirements are met, against published formulas."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

import linesim
from linesim.figures.budget import budget
from linesim.figures.demands import Demand
from linesim.setup.errors import InputError
from linesim.setup.load import changed
from linesim.studies.batch.figures import groups_of
from linesim.studies.batch.judged import demands_of, weakest, worst_of
from linesim.studies.vary.answers import Answer
from linesim.studies.vary.study import Varied, vary
from tests.stations import plain_setup

BASE = plain_setup(
    "Vary",
    target={"width": "10 mm", "height": "5 mm"},
    light={"illuminance": "4 klx"},
    camera={"read_noise": "20 e", "prnu": 0.005},
    requirement={"snr": 20},
)
SIZED = changed(BASE, {"requirement.smallest_defect": "300 um"})
LIGHT = {"light.illuminance": "0.1klx:400klx:log9"}
WISHES = {demand.requirement: demand for demand in demands_of(BASE)}
SNR, CLIPPING = WISHES["snr"], WISHES["clipping"]


def electrons_for(snr: float, dark_e2: float) -> float:
    """
    Signal at which an SNR is reached.

    EMVA 1288 R4.0 RC (March 2021), (25): μ_e = SNR²/2 · [1 + √(1 + 4(σ_d² + σ_q²/K²)/SNR²)].
    """
    return float(snr**2 / 2 * (1 + np.sqrt(1 + 4 * dark_e2 / snr**2)))


def reached(found: Varied, title: str, exposure: str | None, demand: Demand = SNR) -> Answer:
    """Give one answer."""
    (row,) = [
        each
        for each in found.answers
        if (each.title, each.exposure, each.demand) == (title, exposure, demand)
    ]
    return row


def low_lx(found: Varied, title: str, exposure: str | None) -> float:
    """Illuminance from which on SNR 20 is met."""
    (span,) = reached(found, title, exposure).met
    assert span.begins
    return span.low


@pytest.fixture(scope="module")
def light() -> Varied:
    """Light from 0.1 to 400 klx with three ways of binning."""
    return vary(BASE, LIGHT, binning=("1x1", "2x2 charge", "2x2 digital"))


def per_lux() -> tuple[float, float]:
    """Electrons a lux of a single pixel, and (σ_q/K)², from the budget and the definition of K."""
    white_e = budget(BASE).number("signal", "electrons_white")
    gain_dn_e = (4095 - 32) / 40e3  # full well at full scale
    return white_e / 4000, 1 / 12 / gain_dn_e**2


def test_the_light_for_an_snr(light: Varied) -> None:
    """1x1, 2x2 of charge (one read) and of numbers (four): each as (25) says, to the root's own."""
    each_e, rounding_e2 = per_lux()
    for title, joined, reads in (("1x1", 1, 1), ("2x2 charge", 4, 1), ("2x2 digital", 4, 4)):
        wanted_e = electrons_for(20, reads * (20**2 + rounding_e2))
        assert_allclose(low_lx(light, title, "same"), wanted_e / (joined * each_e), rtol=1e-6)


def test_four_times_and_eight_times(light: Varied) -> None:
    """
    Charge of four pixels needs a quarter of the light at the same time, an eighth at full exposure.

    n pixels with one read have nS electrons and the read noise of one; a line of twice the height
    has twice the period.
    """
    one = low_lx(light, "1x1", "same")
    assert_allclose(one / low_lx(light, "2x2 charge", "same"), 4, rtol=1e-6)
    assert_allclose(one / low_lx(light, "2x2 charge", "full"), 8, rtol=1e-6)
    assert_allclose(one, low_lx(light, "1x1", "full"), rtol=1e-6)


def test_where_the_picture_clips(light: Varied) -> None:
    """
    At 40 ke, which is well and full scale, less 3.0902 spreads: 0.1 % of a normal value lie beyond.

    Spread of a sample: shot noise, 20 e of reading, PRNU of 0.005 over the root of joined pixels.
    """
    each_e = per_lux()[0]
    for title, joined in (("1x1", 1), ("2x2 charge", 4)):

        def left_e(signal_e: float, joined: int = joined) -> float:
            spread_e = np.sqrt(signal_e + 20**2 + (0.005 * signal_e) ** 2 / joined)
            return float(40e3 - signal_e - 3.0902 * spread_e)

        (span,) = reached(light, title, "same", CLIPPING).met
        at_e = brentq(left_e, 1e4, 4e4, xtol=1e-9)
        assert_allclose(span.high, at_e / (joined * each_e), rtol=1e-6)
        (clear,) = reached(light, title, "same").able
        assert (clear.low, clear.high) == (reached(light, title, "same").met[0].low, span.high)
    assert light.met


def test_figures_at_the_points(light: Varied) -> None:
    """Each way of binning has the figures asked for, those of its budget at that light."""
    (curve,) = [each for each in light.curves if each.title == "2x2 charge"]
    assert light.shown_figures == (
        "electrons_white", "snr_product", "clipping_share", "mtf50_y_lp_mm",
        "smallest_detectable_um",
    )  # fmt: skip
    groups = groups_of(curve.space.ends)
    for index in (0, 4, 8):
        true = budget(curve.space.setup(index))
        for name in light.shown_figures:
            # where all clips nothing is found, and the figure is absent
            expected = true.groups[groups[name]].get(name, np.nan)
            assert_allclose(curve.figures[name][index, 0], expected, rtol=1e-7)


def test_met_only_where_it_clips() -> None:
    """SNR 20 needs 706 e of a product at a tenth of white, and white does not fit into 3000 e."""
    small = changed(
        BASE,
        {
            "camera.full_well": "3 ke",
            "camera.gain": "0.1 DN/e",
            "requirement.product_reflectance": 0.09,
            "target.white_reflectance": 0.9,
        },
    )
    found = vary(small, LIGHT)
    row = reached(found, "1x1", None)
    assert row.met
    assert row.able == ()
    assert [each.requirement for each in row.against] == ["clipping"]
    (joint,) = found.joints
    assert joint.held == ()
    assert {each.requirement for each in joint.against} == {"snr", "clipping"}
    assert not found.met


def test_never_met() -> None:
    """SNR 1000 is out of reach of a well of 40 ke, whatever the light up to 400 klx."""
    found = vary(changed(BASE, {"requirement.snr": 1000}), LIGHT)
    (row,) = [each for each in found.answers if each.demand.requirement == "snr"]
    assert row.met == ()
    assert [each.requirement for each in found.joints[0].against] == ["snr"]
    assert not found.met


def test_the_ends_of_the_line_decide() -> None:
    """
    With half of the lamp's light at the ends, an SNR there needs twice the light of the middle.

    Fall-off of the lamp alone: the last of 256 columns has 1 - 0.5 (255/256)² of the light.
    """
    found = vary(changed(BASE, {"light.edge_falloff": 0.5}), LIGHT)
    share = 1 - 0.5 * (255 / 256) ** 2
    assert_allclose(low_lx(found, "1x1", None) * share, low_lx(vary(BASE, LIGHT), "1x1", None))


def test_light_from_nothing() -> None:
    """In the dark there is no smallest defect; the range goes on, and figures say no number."""
    found = vary(SIZED, {"light.illuminance": "0lx:40klx:lin5"})
    sizes = found.curves[0].figures["smallest_detectable_um"][:, 0]
    assert np.isnan(sizes[0])
    assert np.all(np.diff(sizes[1:]) < 0)
    assert "smallest_detectable_um" in found.shown_figures


def test_two_keys() -> None:
    """
    The light for SNR 20 grows with the square of the working f-number, and so with that of N.

    Camera equation, E' = ρEτ/(4N²(1+m)²): the same electrons need E ~ N².
    """
    found = vary(BASE, {**LIGHT, "lens.f_number": "2,4,8"})
    assert found.curves[0].figures["snr_product"].shape == (9, 3, 1)
    lows = {row.second: row.met[0].low for row in found.answers if row.demand == SNR}
    assert_allclose(lows[4.0] / lows[2.0], 4, rtol=1e-6)
    assert_allclose(lows[8.0] / lows[4.0], 4, rtol=1e-6)


def test_requirements_are_judged_as_the_budget_judges_them() -> None:
    """Met or missed, wish by wish, on both sides of each requirement, as the verdicts say."""
    asked = changed(
        BASE,
        {
            "requirement.smallest_defect": "300 um",
            "requirement.detection_rate": 0.9,
            "requirement.false_alarms_per_m2": 0.1,
        },
    )
    seen = set()
    for light_lx in (300, 1000, 3000, 10_000, 400_000):
        for shape in ("disc", "scratch-along"):
            setup = changed(
                asked, {"light.illuminance": f"{light_lx} lx", "requirement.defect_shape": shape}
            )
            found = budget(setup)
            verdicts = {each.requirement: each.met for each in found.verdicts}
            for demand in demands_of(setup):
                values = {
                    name: np.array([found.groups[demand.group].get(name, np.nan)])
                    for name in demand.figures
                }
                assert (demand.spare(worst_of(demand, values)) >= 0) == verdicts[demand.requirement]
                seen.add((demand.requirement, verdicts[demand.requirement]))
    assert {name for name, _ in seen} == set(verdicts)
    assert {name for name, met in seen if not met} >= {"snr", "smallest_defect", "clipping"}


def test_a_requirement_that_is_varied_itself_is_not_judged() -> None:
    """It has no one value that could be drawn or met."""
    found = vary(BASE, {"requirement.snr": "10:40:lin4"})
    assert [each.requirement for each in found.judged_by] == ["exposure", "clipping"]


def test_the_weakest_colour() -> None:
    """The smallest where much is good, the largest where little is."""
    values = np.array([[1.0, 3.0, 2.0]])
    assert weakest("snr_white", values) == 1.0
    assert weakest("saturation_white", values) == 3.0


def test_colours() -> None:
    """A prism gives three values a point; the answer is that of the weakest."""
    colour = changed(BASE, {"camera.kind": "prism"})
    found = vary(colour, LIGHT)
    assert found.curves[0].figures["snr_product"].shape == (9, 3)
    at = found.curves[0].space.at([[reached(found, "1x1", None).met[0].low]]).setup(0)
    assert_allclose(min(budget(at)["signal"]["snr_product"].values()), 20, rtol=1e-6)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ({"figures": ["snr_wite"]}, 'read "snr_wite", but this setup has no such figure'),
        ({"exposure": "long"}, 'expected "same" or "full"'),
        ({"binning": ["1x1", "5x5"]}, "expected pixels across x pixels along"),
    ],
)
def test_refusals(arguments: dict[str, object], told: str) -> None:
    """What is asked for is checked before anything is worked out."""
    with pytest.raises(InputError, match=told):
        vary(BASE, LIGHT, **arguments)  # type: ignore[arg-type]


def test_from_the_package() -> None:
    """`from linesim import vary`; all figures are there on demand."""
    found = linesim.vary(BASE, {"lens.f_number": "2,4"}, figures=["all"])
    assert {"dn_white", "image_lines", "depth_of_field_mm"} <= set(found.shown_figures)
