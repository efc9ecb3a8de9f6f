"""Groups of commands that are loaded when one of them is asked for, so that help is quick."""

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup


def late_group(package: str, said: Mapping[str, str]) -> type[TyperGroup]:
    """Make a group whose commands lie in modules of their own."""

    class LateGroup(TyperGroup):
        def list_commands(self, ctx: Any) -> list[str]:  # noqa: ANN401, ARG002 -- typer's own click
            return list(said)

        def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ANN401 -- the same
            if cmd_name in said and cmd_name not in self.commands:
                self.add_command(_loaded(package, cmd_name), cmd_name)
            elif cmd_name not in said:  # the refusal names what is spelt alike
                names: dict[str, Any] = dict.fromkeys(said)
                self.commands.update(names)
            return super().get_command(ctx, cmd_name)

        def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ANN401, ARG002 -- the same
            with formatter.section("Commands"):
                formatter.write_dl(list(said.items()))

    return LateGroup


def _loaded(package: str, name: str) -> Any:  # noqa: ANN401 -- typer's own click
    """Load a command: a function of typer's kind, or a group of its own."""
    found = getattr(import_module(f"{package}.{name}"), name)
    if isinstance(found, typer.Typer):
        return typer.main.get_command(found)
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    alone.command(name)(found)
    return typer.main.get_command(alone)
