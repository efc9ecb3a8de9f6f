"""Options, file names and target names that are refused, and the installed command itself."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from linesim.setup.load import load_setup
from linesim.studies.scan.study import scan

COMMANDS = (
    (("measured",), "measured", "No such command"),
    (("scan", "--seed", "-1"), "--seed", "Error"),
    (("scan", "--seed", "1.5"), "--seed", "Error"),
    (("scan", "--sed", "1"), "--sed", "--seed"),
    (("scan", "base.toml", "more.toml"), "more.toml", "Error"),
    (("scan", "--out"), "--out", "requires an argument"),
    (("budget", "--out", "x"), "--out", "No such option"),
    (("scan", "missing.toml"), 'setup "missing.toml"', "does not exist"),
    (("scan", "bas.toml"), 'setup "bas.toml"', 'the nearest name in that folder is "base.toml"'),
    (("budget", "folder.png"), 'setup "folder.png"', "is a folder"),
    (("budget", "a\x1b[31m.toml"), r'setup "a\x1b[31m.toml"', "does not exist"),
    (("budget", "x" * 300), "xxx", "File name too long"),
    (("scan", "base.toml", "--out", "text.png"), 'output "text.png"',
     "is a file; expected a folder"),
    (("scan", "base.toml", "--out", "text.png/run"), 'output "text.png/run"',
     '"text.png" is a file'),
    (("scan", "base.toml", "--out", "x" * 300), "xxx", "File name too long"),
    (("new", "base.toml"), 'output "base.toml"',
     "is there already; choose another name, or --force"),
    (("new", "folder.png"), 'output "folder.png"', "is a folder"),
    (("new", "folder.png", "--force"), 'output "folder.png"', "is a folder"),
    (("new", "text.png/new.toml"), 'output "text.png/new.toml"', '"text.png" is a file'),
    (("target", "foill"), 'target: read "foill"', 'did you mean "foil"?'),
    (("target", "edge", "--width", "40"), "--width",
     'the unit is missing; expected a number with its unit, for example "40 mm"'),
    (("target", "edge", "--width", "4,5 mm"), "--width", "write a point"),
    (("target", "edge", "--width", "1e9 mm"), "--width", "1500 x 50000000000 pixels"),
    (("target", "flat", "--width", "300 m", "--height", "1 mm"), "--width",
     "a side in a PNG, or a name that ends in .tif"),
    (("target", "edge", "--pixel-size", "-1 um"), "--pixel-size", "expected a size above 0 um"),
    (("target", "edge", "--angle", "5 mm"), "--angle",
     'mm is a unit of another kind; expected a number with its unit, for example "5 deg"'),
    (("target", "edge", "--angle", "91 deg"), "--angle", "expected -90 to 90 deg"),
    (("target", "edge", "--contrast", "nan"), "--contrast",
     "expected a ratio light to dark above 1"),
    (("target", "flat", "--contrast", "4"), "--contrast", 'leave it out or choose "edge"'),
    (("target", "edge", "--out", "edge.jpg"), "--out", "ends in .png, .tif or .tiff"),
    (("target", "edge", "--out", "text.png/edge.png"), 'output "text.png/edge.png"',
     '"text.png" is a file'),
)  # fmt: skip


@pytest.mark.parametrize(("arguments", "names", "says"), COMMANDS, ids=lambda part: str(part)[:50])
def test_command_is_refused(
    refused: Callable[..., str], arguments: tuple[str, ...], names: str, says: str
) -> None:
    """Options, names of files and of targets are refused by their own name."""
    told = refused(*arguments)
    assert any(names in line and says in line for line in told.splitlines()), told


def test_folder_without_permission_is_refused(
    refused: Callable[..., str], here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that may not be written to is refused before anything is rendered."""
    closed, access = here / "closed", os.access
    closed.mkdir(mode=0o555)
    # root may write anywhere: let the system answer as it does to any other user
    monkeypatch.setattr(
        os, "access", lambda path, mode: Path(path).name != "closed" and access(path, mode)
    )
    assert '"closed" may not be written to' in refused("scan", "base.toml", "--out", "closed/run")


def test_the_base_of_all_this_is_accepted(here: Path) -> None:
    """What the cases break is itself in order; else they would prove nothing."""
    assert scan(load_setup(here / "base.toml")).image.shape == (8, 32)


@pytest.mark.nightly
@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("scan", "missing.toml"), 'linesim: setup "missing.toml" does not exist'),
        (("scan", "s.toml"), 'linesim: target.image "cut.png" is cut short'),
        (("target", "edge", "--width", "40"), "linesim: --width: "),
        (("measured",), "No such command 'measured'"),
        (("scan", "--seed", "-1"), "--seed"),
    ],
)
def test_installed_command_refuses(
    installed: Callable[..., Any], here: Path, arguments: tuple[str, ...], says: str
) -> None:
    """The command as installed ends the same way as the function behind it."""
    base = (here / "base.toml").read_text("utf-8")
    (here / "s.toml").write_text(base.replace('"flat"', '"cut.png"'), "utf-8")
    done = installed(*arguments)
    assert done.code == 2
    assert says in done.err
