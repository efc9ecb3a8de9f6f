"""The console's tables of a ranking: the best, the front, and what is missed first."""

from collections.abc import Iterator, Sequence

from linesim.figures.plain_numbers import plain_number
from linesim.figures.safety import CODES, people_lines
from linesim.report.console import WIDTH, paragraph, paragraphs
from linesim.studies.rank.row import Row
from linesim.studies.rank.study import LIGHT_KEYS, Ranking
from linesim.studies.rank.words import REASONS, answer, percent, rank_people, refusals, short

_LIGHT = "irradiance_target_w_m2"
_DEPTH = "depth mm"
_SNR = "snr_product"
_COLUMNS = (
    ("light W/m²", _LIGHT, 3),
    ("web m²/s", "area_rate_m2_s", 3),
    ("SNR product", _SNR, 3),
    ("of limit", "clipping_share", 2),
    (_DEPTH, "depth_of_field_mm", 3),
)
_FINDS = "finds um"
_REASON_WIDTH = 48
_IN = " " * 6
Column = tuple[str, list[str]]
"""Head and cells."""


def rank_text(found: Ranking) -> str:
    """Lay a ranking out for the console."""
    lines = [*paragraph(found.space.title, "", ""), "", *_space_lines(found)]
    front = "best trade-offs of light, speed and defect size"
    for head, rows in (
        (
            f"the best {len(found.distinct)}: each with its least light, then most web a second",
            found.distinct,
        ),
        (f"{front} ({len(found.front_rows)} of {len(found.front)})", found.front_rows),
        ("the nearest", () if found.nearest is None else (found.nearest,)),
    ):
        if rows:
            lines += ["", head, *_table(rows, found)]
    lines += ["", "why the others are out: the first demand that each misses", *_missed(found)]
    which = "best" if found.rows else "nearest"
    lines += ["", f"cautions about the {which}", *_cautions(found)]
    lines += [
        "",
        "eyes, heat and machines, of all that is shown",
        *paragraphs(people_lines(rank_people(found))),
    ]
    return "\n".join([*lines, "", "answer", *paragraphs(answer(found))])


def _space_lines(found: Ranking) -> list[str]:
    shape = " x ".join(str(count) for count in found.space.shape)
    lines = [f"{found.space.count} options ({shape}), {len(found.order)} meet every demand"]
    for axis in found.space.axes:
        labels = [point.label for point in axis.points]
        many = len(labels) > 8  # noqa: PLR2004 -- what fits on a line
        said = f"{labels[0]} to {labels[-1]}, {len(labels)} values" if many else ", ".join(labels)
        lines += paragraph(f"{axis.name}: {said}")
    return lines


def _table(rows: Sequence[Row], found: Ranking) -> list[str]:
    """Lay options out in columns; where these are too many, what is chosen gets lines below."""
    several = [axis.name for axis in found.space.axes if len(axis.points) > 1]
    columns = [
        ("", [str(place) for place in range(1, len(rows) + 1)]),
        *((short(name), [row.choice[name] for row in rows]) for name in several),
        *_figure_columns(rows, found),
    ]
    without_depth = [column for column in columns if column[0] != _DEPTH]
    for fitting in (columns, without_depth):
        if _width(fitting) <= WIDTH:
            return _laid(fitting)
    narrow = [columns[0], *columns[1 + len(several) :]]
    head_lines = _head_lines(narrow)
    heads, lines = _laid(narrow)[:head_lines], _laid(narrow)[head_lines:]
    for row, line in zip(rows, lines, strict=True):
        said = ", ".join(f"{short(name)} {row.choice[name]}" for name in several)
        heads += [line, *paragraph(said, _IN, _IN)]
    return heads


def _figure_columns(rows: Sequence[Row], found: Ranking) -> Iterator[Column]:
    keys = frozenset().union(*(axis.keys for axis in found.space.axes))
    chosen = not keys.isdisjoint(LIGHT_KEYS) and "light.spectrum" not in keys
    for head, name, digits in _COLUMNS:
        if name != _LIGHT or not chosen:  # a light that is chosen stands among the choices
            values = [row.worst(name) if name == _SNR else row.figures[name] for row in rows]
            yield head, [plain_number(value, digits) for value in values]
    sizes = [row.largest(found.size_name) for row in rows]
    yield _FINDS, ["-" if size is None else plain_number(size, 3) for size in sizes]


def _width(columns: Sequence[Column]) -> int:
    return sum(2 + max(map(len, (*_words(head), *cells))) for head, cells in columns)


def _words(head: str) -> list[str]:
    return head.replace("_", " ").split()


def _head_lines(columns: Sequence[Column]) -> int:
    return max(len(_words(head)) for head, _ in columns)


def _laid(columns: Sequence[Column]) -> list[str]:
    """Lay columns side by side, flush right, their heads a word a line."""
    depth = _head_lines(columns)
    laid = []
    for head, cells in columns:
        words = _words(head)
        full = [*[""] * (depth - len(words)), *words, *cells]
        width = max(map(len, full))
        laid.append([f"{cell:>{width}}" for cell in full])
    return ["  " + "  ".join(line) for line in zip(*laid, strict=True)]


def _missed(found: Ranking) -> Iterator[str]:
    for name, count in found.misses.items():
        share = percent(count / found.space.count)
        least = -found.least_missed(name)
        nearest = "" if name == "legal_setup" else f"  nearest: by {percent(least)}"
        yield f"  {REASONS[name]:<{_REASON_WIDTH}}{count:>9}  {share:>10}{nearest}"
    if not found.misses:
        yield "  nothing: every option passes"
    for said in refusals(found):
        yield from paragraph(said)


def _cautions(found: Ranking) -> Iterator[str]:
    first = found.rows[0] if found.rows else found.nearest
    cautions = [each for each in (first.budget.cautions if first else ()) if each.code not in CODES]
    for caution in cautions:
        yield from paragraph(f"{caution.code}: {caution.text}")
    if not cautions:
        yield "  none"
