"""The page's server answers the page, with the figures of the budget, and nobody else."""

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import tifffile
from numpy.testing import assert_allclose, assert_array_equal
from typer.testing import CliRunner

from linesim.cli.app import app
from linesim.figures.safety import MACHINERY
from linesim.forward.station import station as numbers_of
from linesim.report.light_bars import light_bars
from linesim.setup.load import changed
from linesim.setup.setup import Setup
from linesim.studies.scan.study import scan

if TYPE_CHECKING:
    from tests.preview.conftest import Client, Serve

WHOLE = {"left_mm": -7.2, "top_mm": 0.0, "width_mm": 14.4, "height_mm": 15.0}
MOVED: dict[str, Any] = {
    "light.illuminance": "44 klx",
    "transport.speed": "75 m/min",
    "exposure_share": 0.7,
    "lens.f_number": 5.6,
    "acquisition.binning": "2x2",
    "camera.gain": "0.04 DN/e",
    "camera.bit_depth": 10,
}


def budget_json(file: Path) -> dict[str, Any]:
    """Run ``linesim budget --json``."""
    done = CliRunner().invoke(app, ["budget", str(file), "--json"])
    assert done.exit_code == 0
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("changes", [{}, MOVED], ids=["as loaded", "moved"])
def test_figures_are_those_of_the_budget(
    client: "Client", tmp_path: Path, changes: dict[str, Any]
) -> None:
    """The page shows what ``budget --json`` prints for the setup that the page writes."""
    file = tmp_path / "setup.toml"
    file.write_text(client.talk("setup", {"changes": changes})["text"], "utf-8")
    assert client.look(changes=changes, window=WHOLE).told["figures"] == budget_json(file)


def test_the_picture_is_that_of_the_scan(client: "Client", station: Setup) -> None:
    """
    Samples come as they are; electrons within the step of their code.

    A code is round(65535 √(e/largest)), so √e is off by at most √largest/(2·65535), and e by
    2√e times that, some 1/65535 of the largest.
    """
    seen = client.look(changes={"light.illuminance": "44 klx"}, window=WHOLE, seed=4)
    whole = scan(changed(station, {"light.illuminance": "44 klx"}), seed=4)
    assert_array_equal(seen.image[:, :, 0], whole.image)
    largest_e = float(whole.expected_e.max())
    assert_allclose(
        seen.expected_e[:, :, 0], whole.expected_e, rtol=0, atol=1.01 * largest_e / 65535
    )
    assert seen.told["picture"]["shown"] == "Same samples as linesim scan (seed 4)"


def at(snr: dict[str, Any], channel: int, signal_e: float) -> float:
    """Read a sample's SNR off the curve, as the page does: straight in √e between its points."""
    curve = snr["each"][channel]
    place = np.sqrt(signal_e / snr["top_e"]) * (len(curve) - 1)
    return float(np.interp(place, np.arange(len(curve)), curve))


BINNED = {"acquisition.binning": "2x2", "light.illuminance": "12 klx"}


@pytest.mark.parametrize("changes", [{}, BINNED], ids=["plain", "binned"])
def test_the_snr_map_is_the_stations(
    client: "Client", station: Setup, changes: dict[str, Any]
) -> None:
    """
    SNR is e/√(e + σ_d² + σ_q²) (EMVA 1288 R4.0 RC, (13)) up to white, which nothing clips here.

    Five digits are sent. Between points d apart in √e the curve strays by d²/8 times its second
    derivative, at most 2/σ_0: some (150/512)²/4/10 = 0.002.
    """
    told = client.look(window=WHOLE, changes=changes).told
    snr, signal = told["picture"]["snr"], told["figures"]["signal"]
    numbers = numbers_of(changed(station, changes))
    assert told["picture"]["wanted_snr"] == 40
    white_e = signal["electrons_white"]
    for level_e in (0.002 * white_e, 0.1 * white_e, 0.5 * white_e, signal["electrons_product"]):
        by_hand = level_e / float(numbers.noise_e(level_e))
        assert at(snr, 0, level_e) == pytest.approx(by_hand, rel=2e-5, abs=3e-3)
    of_product = at(snr, 0, signal["electrons_product"])
    assert of_product == pytest.approx(signal["snr_product"], rel=2e-5, abs=3e-3)


def test_the_snr_map_falls_where_the_camera_clips(client: "Client") -> None:
    """Light that is cut off tells nothing: far over full scale no SNR is left (rounding apart)."""
    told = client.look(window=WHOLE, changes={"light.illuminance": "600 klx"}).told
    assert told["figures"]["signal"]["saturation_white"] > 2
    curve = told["picture"]["snr"]["each"][0]
    assert curve[-1] < 0.01
    assert max(curve) > 40


def test_the_light_on_the_page_is_that_of_the_report(client: "Client", station: Setup) -> None:
    """Rows and words are the report's; the factors between multiply from lamp to electrons."""
    told = client.look(window=WHOLE).told
    steps, signal = told["light"], told["figures"]["signal"]
    bars = light_bars(station, signal)[:2]
    assert [(step["label"], step["value"], step["note"]) for step in steps] == [
        (row.label, row.value, row.note) for part in bars for row in part.rows
    ]
    of = {step["label"]: step for step in steps}
    factors = [
        of[name]["level"] / of[name]["before"]
        for name in ("reflected by white", "at the sensor", "electrons of white")
    ]
    lamp, photons = of["lamp, at the target"]["level"], of["photons"]["level"]
    assert of["at the sensor"]["level"] == pytest.approx(photons, rel=1e-12)
    white_e = lamp * np.prod(factors)
    assert white_e == pytest.approx(signal["electrons_white"], rel=1e-9)


def test_charts_end_in_the_budgets_figures(client: "Client") -> None:
    """At Nyquist the MTF curves have the budget's values, and no source is over all noise."""
    told = client.look(window=WHOLE, changes={"acquisition.binning": "1x2"}).told
    mtf, found = told["mtf"], told["figures"]["resolution"]
    for axis, name in (("x", "across"), ("y", "along")):
        at = mtf[f"nyquist_{axis}_lp_mm"]
        assert at == pytest.approx(found[f"nyquist_{axis}_lp_mm"])
        # between points 1/48 of the range apart the curve is nearly straight
        drawn = np.interp(at, mtf["frequency_lp_mm"], mtf["curves"][name])
        assert drawn == pytest.approx(found[f"mtf_nyquist_{axis}"], abs=2e-3)
    noise = told["noise"]
    squares = sum(np.array(each) ** 2 for each in noise["sources"].values())
    # five digits are sent
    assert_allclose(np.sqrt(squares), noise["total_e"], rtol=1e-4)
    assert noise["white_e"] == pytest.approx(told["figures"]["signal"]["electrons_white"])


def test_electrons_that_the_page_has_are_not_sent_again(client: "Client") -> None:
    """After a change of noise the answer is half as long; after one of light it is not."""
    first = client.look(window=WHOLE)
    again = client.look(window=WHOLE, have=first.told["optical"], seed=9)
    assert (first.told["electrons"], again.told["electrons"]) == (True, False)
    assert again.expected_e.size == 0
    assert again.image.shape == first.image.shape
    changes = {"light.illuminance": "20 klx"}
    other = client.look(window=WHOLE, have=first.told["optical"], changes=changes)
    assert other.told["electrons"]


def test_cautions_about_people_are_there(client: "Client") -> None:
    """Very bright light brings its cautions; the line about machines stands always."""
    told = client.look(changes={"light.illuminance": "900 klx"}, window=WHOLE).told
    codes = {caution["code"] for caution in told["figures"]["cautions"]}
    assert {"bright_light", "heat_on_stop"} <= codes
    start = client.ask("GET", "start").json()
    assert start["machinery"] == MACHINERY
    assert start["name"] == "small.toml"


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        ({"changes": {"lens.f_number": 0.1}}, "lens.f_number: read 0.1"),
        ({"changes": {"acquisition.binning": "5x5"}}, "acquisition.binning"),
        ({"changes": {"target": "../x.png"}}, "own image"),
        ({"changes": {"light.spectrum": "x.csv"}}, "no such control"),
        ({"changes": 3}, "changes: expected"),
        ({"window": {"left_mm": 1}}, "window: read"),
        ({"seed": -1}, "seed: read"),
        ({"seed": True}, "seed: read"),
    ],
)
def test_refusals_are_sentences(client: "Client", ask: dict[str, Any], says: str) -> None:
    """What is wrong is told in the words of the setup file, with the number of the question."""
    told = client.look(number=7, **ask).told
    assert told["number"] == 7
    assert says in " ".join(told["faults"])


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"3", b"[" * 5000, b"\xff\xfe", b'{"job": {}}'])
@pytest.mark.parametrize("path", ["look", "setup", "scan", "job", "cancel"])
def test_whatever_is_sent_gets_an_answer(client: "Client", path: str, body: bytes) -> None:
    """No body brings the server down or out of its words."""
    answer = client.ask("POST", path, body)
    assert answer.status == 200
    assert b"Traceback" not in answer.body


def waited(client: "Client", job: str) -> dict[str, Any]:
    """Wait until a whole scan is over."""
    for _ in range(600):
        state: dict[str, Any] = client.talk("job", {"job": job})
        if state["over"]:
            return state
        time.sleep(0.05)
    msg = "the scan never ended"
    raise AssertionError(msg)


def test_a_whole_scan_is_that_of_the_command(
    client: "Client", station: Setup, tmp_path: Path
) -> None:
    """The file that is downloaded holds what ``linesim.scan`` gives, strip by strip told."""
    started = client.talk("scan", {"kind": "scan", "changes": {"lens.f_number": 5.6}, "seed": 2})
    state = waited(client, started["job"])
    assert (state["ready"], state["done"], state["faults"]) == (True, state["total"], [])
    answer = client.ask("GET", f"result/{started['job']}")
    assert answer.headers["content-disposition"] == 'attachment; filename="scan.tif"'
    file = tmp_path / "scan.tif"
    file.write_bytes(answer.body)
    expected = scan(changed(station, {"lens.f_number": 5.6}), seed=2)
    assert_array_equal(tifffile.imread(file), expected.image)


@pytest.mark.usefixtures("undrawn")
def test_a_report_is_one_page(client: "Client") -> None:
    """It is the report of the scan, whole, with the setup's title."""
    started = client.talk("scan", {"kind": "report", "changes": {}})
    assert waited(client, started["job"])["ready"]
    text = client.ask("GET", f"result/{started['job']}").body.decode()
    assert "<h1>A small foil line</h1>" in text
    assert text.rstrip().endswith("</html>")


def test_a_whole_scan_can_be_cancelled(serve: "Serve", station: Setup) -> None:
    """After cancel it ends between two strips, leaves no file, and another one may start."""
    with serve(changed(station, {"acquisition.lines": 100_000})) as client:
        started = client.talk("scan", {"kind": "scan"})
        later = client.talk("scan", {"kind": "scan"})
        assert "wait for it, or cancel it" in later["faults"][0]
        client.talk("cancel", {"job": started["job"]})
        state = waited(client, started["job"])
        assert state["cancelled"]
        assert not state["ready"]
        assert state["done"] < 100_000 / 64
        gone = client.ask("GET", f"result/{started['job']}").json()
        assert "start it again" in gone["faults"][0]
        assert "job" in client.talk("scan", {"kind": "report"})


def test_a_placed_lamp_is_drawn_from_the_side(station: Setup, serve: "Serve") -> None:
    """The page shows where the lamp stands, and nothing of it where light is even."""
    lamp = {"light.arrangement": "line", "light.angle": "40 deg", "light.angular_width": "10 deg"}
    for changes, said in (({}, None), (lamp, "40 deg away from the camera's mirror direction")):
        with serve(changed(station, changes)) as client:
            side = client.look().told["side"]
        assert (side is None) == (said is None)
        if side is not None:
            assert said in side["caption"]
            assert side["image"].startswith("<svg")
