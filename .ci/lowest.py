"""
Print the lowest versions that pyproject.toml allows, as constraints for pip.

Usage: python3 .ci/lowest.py EXTRA...

Bounds of the base and of each extra named; ``numpy>=2.0`` becomes ``numpy==2.0``. So a bound must
be a version that exists.
"""

import re
import sys
import tomllib
from pathlib import Path

_BOUND = re.compile(r"([A-Za-z0-9._-]+)>=([0-9.]+)")


def lowest(extras: list[str]) -> list[str]:
    """Turn the lower bounds of the base and of some extras into exact versions."""
    file = Path(__file__).resolve().parents[1] / "pyproject.toml"
    project = tomllib.loads(file.read_text("utf-8"))["project"]
    wanted = [*project["dependencies"]]
    for extra in extras:
        wanted += project["optional-dependencies"][extra]
    return [f"{name}=={bound}" for name, bound in map(_bound, wanted)]


def _bound(requirement: str) -> tuple[str, str]:
    found = _BOUND.fullmatch(requirement)
    if not found:
        msg = f'pyproject.toml: "{requirement}" read; expected NAME>=VERSION, which says the lowest'
        raise SystemExit(msg)
    return found[1], found[2]


if __name__ == "__main__":
    sys.stdout.write("\n".join(lowest(sys.argv[1:])) + "\n")
