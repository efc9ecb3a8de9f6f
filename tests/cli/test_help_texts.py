"""Every command says what it does, and each of its options what it is for."""

from collections.abc import Iterator
from typing import Any

import pytest
import typer

from linesim.cli.app import app

LONGEST = 300


def commands(command: Any, path: str = "linesim") -> Iterator[tuple[str, Any]]:  # noqa: ANN401 -- typer's own click
    """Walk over all commands, those in groups too."""
    yield path, command
    if hasattr(command, "list_commands"):
        for name in command.list_commands(None):
            yield from commands(command.get_command(None, name), f"{path} {name}")


ALL = dict(commands(typer.main.get_command(app)))


@pytest.mark.parametrize("path", ALL)
def test_command_and_options_have_a_help_text(path: str) -> None:
    """A sentence each, which ends as one; arguments too."""
    command = ALL[path]
    texts = {path: command.help or ""}
    for parameter in command.params:
        if parameter.name != "help":
            texts[f"{path} {parameter.name}"] = str(getattr(parameter, "help", "") or "")
    for name, text in texts.items():
        assert text.strip(), name
        assert len(text) <= LONGEST or name == path, name
        said = text.strip().split("  [")[0].rstrip()
        assert said.endswith((".", ":", "?", ")", '"')), (name, text)


def test_the_main_commands_are_there() -> None:
    """The walk finds groups and what is in them."""
    wanted = {"linesim scan", "linesim compare", "linesim measure edge", "linesim measure camera"}
    assert wanted <= set(ALL)
