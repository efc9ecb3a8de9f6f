"""How large an image a setup lets in."""

from pathlib import Path

import imagecodecs
import numpy as np
import pytest

from linesim.figures.budget import budget
from linesim.setup.errors import InputError
from linesim.setup.load import changed, setup_from
from tests.stations import plain_texts


def test_a_setup_may_raise_or_lower_the_limit(tmp_path: Path) -> None:
    """`target.max_pixels` rules for every command that reads the setup's image."""
    (tmp_path / "web.png").write_bytes(imagecodecs.png_encode(np.full((6, 5), 90, np.uint8)))
    texts = plain_texts(
        "Web",
        target={"image": "web.png", "max_pixels": 29},
        transport={"speed": "1 m/s"},
        camera={"pixels": 8},
    )
    setup = setup_from(texts, tmp_path)
    with pytest.raises(InputError, match=r"or raise target\.max_pixels if there is memory"):
        budget(setup)
    assert budget(changed(setup, {"target.max_pixels": 30})).number("geometry", "image_lines") == 1
