"""Numbers name their unit as the last word, one of those in the glossary beside this file."""

import ast
import re
from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from functools import cache
from pathlib import Path

import linesim
from linesim.setup.load import changed, sample_setup

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "tests" / "house" / "GLOSSARY.md").read_text("utf-8")
SCALARS = {"float", "Figure"}
HELD = {*SCALARS, "FloatArray"}
"""Arrays count only where an object holds them: a function may work on arrays of any unit."""


def first_cells(heading: str) -> set[str]:
    """Take the names in backticks out of the first column of the table under a heading."""
    _, found, rest = PAGE.partition(f"## {heading}\n")
    assert found, f'GLOSSARY.md has no heading "{heading}"'
    rows = [line for line in rest.split("\n#")[0].splitlines() if line.startswith("| `")]
    return {name for row in rows for name in re.findall(r"`([^`]+)`", row.split("|")[1])}


UNITS = first_cells("Units")
PLAIN = first_cells("Names without a unit")


def is_number(annotation: ast.expr | None, kinds: set[str]) -> bool:
    """Tell whether an annotation stands for a number, also an optional or an annotated one."""
    match annotation:
        case ast.Name(id=name):
            return name in kinds
        case ast.BinOp(left=left, right=right):
            return is_number(left, kinds) or is_number(right, kinds)
        case ast.Subscript(
            value=ast.Name(id="Annotated" | "tuple"), slice=ast.Tuple(elts=[first, *_])
        ):
            return is_number(first, kinds)
        case _:
            return False


def of_function(function: ast.FunctionDef) -> Iterator[str]:
    """Name the numbers that a function takes, and itself where it is read like a field."""
    given = function.args
    for argument in (*given.posonlyargs, *given.args, *given.kwonlyargs):
        if is_number(argument.annotation, SCALARS):
            yield argument.arg
    marks = {mark.id for mark in function.decorator_list if isinstance(mark, ast.Name)}
    if "property" in marks and is_number(function.returns, HELD):
        yield function.name


def number_names(body: list[ast.stmt]) -> Iterator[str]:
    """Name the numbers in public functions and classes."""
    for node in body:
        match node:
            case ast.FunctionDef(name=name) if not name.startswith("_"):
                yield from of_function(node)
            case ast.ClassDef(name=name) if not name.startswith("_"):
                yield from number_names(node.body)
            case ast.AnnAssign(target=ast.Name(id=name)) if is_number(node.annotation, HELD):
                yield name


def bare(name: str) -> str:
    """Take off the axis letter and the place, which may follow unit and name alike."""
    return re.sub(r"(_[xy])?(_ends)?$", "", name)


def without_unit(names: AbstractSet[str]) -> set[str]:
    """Leave the names that neither end in a unit nor stand in the glossary."""
    open_names = {bare(name) for name in names} - PLAIN
    return {name for name in open_names if not any(f"_{name}".endswith(f"_{u}") for u in UNITS)}


MODULES = sorted((ROOT / "linesim").rglob("*.py"))


@cache
def names_of(path: Path) -> frozenset[str]:
    """Name the numbers of one module."""
    return frozenset(number_names(ast.parse(path.read_text("utf-8")).body))


def test_numbers_name_their_unit() -> None:
    """A number's name ends in a unit, or the glossary says what it is without one."""
    found = {path.relative_to(ROOT).as_posix(): without_unit(names_of(path)) for path in MODULES}
    assert len(found) > 100
    assert {name: bare_names for name, bare_names in found.items() if bare_names} == {}


@cache
def figure_names() -> set[str]:
    """Name every figure of a station with all extras, in front of an even white target."""
    full = changed(
        sample_setup(),
        {"target.image": "flat", "lens.focal_length": "60 mm", "acquisition.lines": 64},
    )
    found = linesim.scan(full)
    return set(found.measured).union(*found.budget.groups.values())


def test_figures_name_their_unit() -> None:
    """The names in metrics.json keep the same rule as the code."""
    assert without_unit(figure_names()) == set()


def test_the_glossary_has_no_dead_rows() -> None:
    """Every unit and every name in the tables is used: a renamed thing leaves no row behind."""
    used = {bare(name) for name in figure_names().union(*map(names_of, MODULES))}
    dead = {unit for unit in UNITS if not any(f"_{name}".endswith(f"_{unit}") for name in used)}
    assert dead | (PLAIN - used) == set()
