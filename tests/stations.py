"""The station of most tests: a mono camera of 256 pixels of 75 um on even white at 60 m/min."""

from typing import Any

from linesim.setup.load import setup_from
from linesim.setup.setup import Setup

PLAIN: dict[str, dict[str, Any]] = {
    "target": {"image": "flat", "pixel_size": "20 um"},
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.1},
    "light": {"illuminance": "40 klx"},
    "camera": {"pixels": 256, "pixel_width": "7.5 um"},
}


def plain_setup(title: str, **sections: dict[str, Any]) -> Setup:
    """Make the plain station with keys in place of its own and besides; None takes one out."""
    texts: dict[str, Any] = {"title": title}
    for name in (*PLAIN, *sections):
        keys = {**PLAIN.get(name, {}), **sections.get(name, {})}
        texts[name] = {key: value for key, value in keys.items() if value is not None}
    return setup_from(texts)
