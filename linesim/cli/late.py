"""Groups of commands that are loaded when one of them is asked for, so that help is quick."""

import gc
import sys
from collections.abc import Mapping, MutableMapping
from functools import cache
from importlib import import_module
from importlib.util import LazyLoader, find_spec, module_from_spec
from typing import Any

import typer
from typer.core import TyperGroup

_HELP = ("-h", "--help")
_TOOLS = ("f2py", "testing")
"""Of numpy, for building and testing. scipy takes over every name of numpy, these too."""


def late_group(package: str, said: Mapping[str, str], alone: str = "") -> type[TyperGroup]:
    """Make a group whose commands lie in modules of their own; one may go without its name."""

    class LateGroup(TyperGroup):
        def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401 -- typer's own click
            return list(super().parse_args(ctx, _completed(args, said, alone)))

        def list_commands(self, ctx: Any) -> list[str]:  # noqa: ANN401, ARG002 -- typer's own click
            return list(said)

        def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ANN401 -- the same
            _fill(self.commands, package, said, cmd_name)
            return super().get_command(ctx, cmd_name)

        def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ANN401, ARG002 -- the same
            with formatter.section("Commands"):
                formatter.write_dl(list(said.items()))

    return LateGroup


def late_app(package: str, said: Mapping[str, str], about: str, alone: str = "") -> typer.Typer:
    """Make a command whose subcommands are loaded late."""
    app = typer.Typer(
        cls=late_group(package, said, alone),
        help=about,
        no_args_is_help=not alone,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )

    @app.callback()
    def callback() -> None:
        """Keep the command a group, whatever it has in it."""

    return app


def _fill(
    commands: MutableMapping[str, Any], package: str, said: Mapping[str, str], name: str
) -> None:
    """Load the command asked for."""
    if name in said and name not in commands:
        commands[name] = _loaded(package, name)
        gc.enable()
    elif name not in said:  # the refusal names what is spelt alike
        commands.update(dict.fromkeys(said))


def _completed(args: list[str], said: Mapping[str, str], alone: str) -> list[str]:
    """Put in the name of the command that may go without."""
    named = bool(args) and args[0] in (*said, *_HELP)
    return [alone, *args] if alone and not named else args


@cache
def _loaded(package: str, name: str) -> Any:  # noqa: ANN401 -- typer's own click
    """
    Load a command: a function of typer's kind, or a group of its own.

    What is loaded is taken out of the collector's sight for good. A process does so once for each
    command, however often it runs it.
    """
    found = getattr(import_module(f"{package}.{name}"), name)
    _spare_tools()
    gc.freeze()
    if isinstance(found, typer.Typer):
        return typer.main.get_command(found)
    alone = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    alone.command(name)(found)
    return typer.main.get_command(alone)


def _spare_tools() -> None:
    """Let numpy's tools load when one is used, which no command does, and not with scipy."""
    numpy = sys.modules.get("numpy")
    for name in _TOOLS if numpy else ():
        if f"numpy.{name}" in sys.modules:
            continue  # asking for more would load it
        found = find_spec(f"numpy.{name}")
        if found is not None and found.loader is not None:
            found.loader = LazyLoader(found.loader)
            tool = sys.modules[found.name] = module_from_spec(found)
            setattr(numpy, name, tool)
            found.loader.exec_module(tool)
