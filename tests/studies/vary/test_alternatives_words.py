"""A way to more light that cannot run, or clips, is told as such."""

from linesim.setup.load import changed, sample_setup
from linesim.studies.vary.alternatives import alternatives
from linesim.studies.vary.alternatives_table import alternatives_text, cost_texts


def test_a_way_that_cannot_run_is_told() -> None:
    """A camera that is too slow stays so in brighter light, not at a quarter of the speed."""
    found = alternatives(changed(sample_setup(), {"camera.max_line_rate": "10 kHz"}))
    told = {text.partition(":")[0]: text for text in cost_texts(found)}
    said = "but cannot run: needs 13.3 kHz, the camera does 10 kHz; slow to 45 m/min"
    assert said in told["light x4"]
    assert "cannot run" not in told["exposure x4, speed /4"]
    last = next(
        line for line in alternatives_text("", found).splitlines() if "all together" in line
    )
    assert last.count("CANNOT RUN") == 4  # as it is, light, aperture, TDI


def test_a_way_that_clips_is_told() -> None:
    """Four times 80 klx are over the 288 klx at which the sample just does not clip."""
    found = alternatives(changed(sample_setup(), {"light.illuminance": "80 klx"}))
    told = {text.partition(":")[0]: text for text in cost_texts(found)}
    assert "but the picture clips: the target's brightest part" in told["light x4"]
