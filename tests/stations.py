"""The station of most tests: a mono camera of 256 pixels of 75 um on even white at 60 m/min."""

from typing import Any

import tomli_w

from linesim.setup.load import setup_from
from linesim.setup.setup import Setup

PLAIN: dict[str, dict[str, Any]] = {
    "target": {"image": "flat", "pixel_size": "20 um"},
    "transport": {"speed": "60 m/min"},
    "lens": {"magnification": 0.1},
    "light": {"illuminance": "40 klx"},
    "camera": {"pixels": 256, "pixel_width": "7.5 um"},
}


def plain_texts(title: str, **sections: dict[str, Any]) -> dict[str, Any]:
    """Give the plain station with keys in place of its own and besides; None takes one out."""
    texts: dict[str, Any] = {"title": title}
    for name in (*PLAIN, *sections):
        keys = {**PLAIN.get(name, {}), **sections.get(name, {})}
        texts[name] = {key: value for key, value in keys.items() if value is not None}
    return texts


def plain_setup(title: str, **sections: dict[str, Any]) -> Setup:
    """Make such a station a setup."""
    return setup_from(plain_texts(title, **sections))


def plain_toml(title: str, **sections: dict[str, Any]) -> str:
    """Write such a station as a setup file."""
    return tomli_w.dumps(plain_texts(title, **sections))
