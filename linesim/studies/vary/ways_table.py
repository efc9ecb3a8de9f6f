"""The console's table of the ways to four times the electrons, and what each costs."""

from collections.abc import Iterator
from pathlib import Path

from linesim.figures.case import values
from linesim.figures.plain_numbers import digits
from linesim.figures.safety import people_lines, shared_cautions
from linesim.figures.verdicts import worst_state
from linesim.files.atomic import write_json
from linesim.report.console import paragraph, paragraphs
from linesim.report.verdict_words import STATES, clause
from linesim.studies.batch.judged import LOW_IS_GOOD
from linesim.studies.vary.table import laid_out
from linesim.studies.vary.ways import Way, costs

_LINES = (
    ("white, e", "signal", "electrons_white"),
    ("SNR on white", "signal", "snr_white"),
    ("SNR on the product", "signal", "snr_product"),
    ("white over limit", "signal", "saturation_white"),
    ("light, W/m²", "signal", "irradiance_target_w_m2"),
    ("depth of field, mm", "geometry", "depth_of_field_mm"),
    ("line rate, Hz", "geometry", "line_rate_hz"),
    ("object pixel x, um", "geometry", "object_pixel_x_um"),
    ("object pixel y, um", "geometry", "object_pixel_y_um"),
    ("exposure, us", "exposure", "exposure_us"),
    ("MTF50 across, lp/mm", "resolution", "mtf50_x_lp_mm"),
    ("MTF50 along, lp/mm", "resolution", "mtf50_y_lp_mm"),
    ("d′ of the defect", "detection", "defect_dprime"),
    ("smallest disc, um", "detection", "smallest_detectable_um"),
)
_COSTS = {
    "irradiance_target_w_m2": "light and heat on the target {ratio} times",
    "depth_of_field_mm": "depth of field {ratio} times",
    "object_pixel_x_um": "object pixel {ratio} times as wide",
    "object_pixel_y_um": "{ratio} times as tall",
    "mtf50_x_lp_mm": "MTF50 across {ratio} times",
    "mtf50_y_lp_mm": "MTF50 along {ratio} times",
}
_GROUPS = {name: group for _, group, name in _LINES}
_KEPT_BLUR = (
    "The model keeps the lens's rest blur as it is: opened up, most lenses lose sharpness (common "
    "practice, no source)."
)
_SPEED = "speed, mm/s"


def ways_text(title: str, found: tuple[Way, ...]) -> str:
    """Lay the ways to four times the electrons out for the console."""
    possible = [way for way in found if way.budget is not None]
    lines = [
        *paragraph(f"{title}: ways to four times the electrons", "", ""),
        "",
        *laid_out(["", *(way.title for way in possible)], _rows(possible)),
        "",
        "what each costs",
        *paragraphs(cost_texts(found)),
        "",
        "cautions",
        *paragraphs(caution_texts(found)),
    ]
    return "\n".join(lines)


def _rows(possible: list[Way]) -> list[list[str]]:
    rows = [
        [label, *(_cell(way, group, name) for way in possible)] for label, group, name in _LINES
    ]
    speeds = [f"{way.setup.transport.speed_mm_s:.4g}" for way in possible if way.setup]
    rows.insert(6, [_SPEED, *speeds])
    states = [STATES[worst_state(way.budget.verdicts)] for way in possible if way.budget]
    rows.append(["all together", *states])
    return [row for row in rows if any(cell != "-" for cell in row[1:])]


def _cell(way: Way, group: str, name: str) -> str:
    value = way.budget.groups[group].get(name) if way.budget else None
    if value is None:
        return "-"
    weakest = max(values(value)) if name in LOW_IS_GOOD else min(values(value))
    return digits(weakest, 4)


def cost_texts(found: tuple[Way, ...]) -> Iterator[str]:
    """Say what each way costs, and why one is not possible."""
    for way, ratios in costs(found, _GROUPS):
        parts = [
            text.format(ratio=f"{ratios[name]:.3g}")
            for name, text in _COSTS.items()
            if name in ratios
        ]
        parts += list(_own(way))
        yield f"{way.title}: {', '.join(parts) or 'nothing that these figures show'}."
    yield from (f"{way.title}: not possible here ({way.refusal})" for way in found if way.refusal)
    yield _KEPT_BLUR


def _own(way: Way) -> Iterator[str]:
    """Say what the figures of a budget do not."""
    if "transport.speed" in way.changes:
        yield "a quarter of the speed, and so of the product"
    if "camera.tdi_stages" in way.changes:
        yield "another camera, whose line clock must keep step with the product"
    if way.budget and way.setup:
        for each in way.budget.verdicts:
            # a way that clips, or that cannot run, is none
            cannot = "cannot run: " if each.state == "cannot run" else ""
            if not each.met and (cannot or each.requirement == "clipping"):
                yield f"but {cannot}{clause(way.setup, each)}"


def caution_texts(found: tuple[Way, ...]) -> list[str]:
    """Give the cautions about people of all ways, each once with the ways that it holds for."""
    return people_lines(shared_cautions((way.title, way.setup) for way in found if way.setup))


def ways_json(found: tuple[Way, ...]) -> dict[str, object]:
    """Give all figures of all ways, as ways.json has them."""
    return {
        "ways": [{"title": way.title, **_json_of(way)} for way in found],
        "costs": list(cost_texts(found)),
        "cautions": caution_texts(found),
    }


def _json_of(way: Way) -> dict[str, object]:
    if way.budget is None or way.setup is None:
        return {"refused": way.refusal}
    return {"speed_mm_s": way.setup.transport.speed_mm_s, **way.budget.as_dict()}


def write_ways(found: tuple[Way, ...], folder: Path) -> tuple[Path, ...]:
    """Write the figures of all ways."""
    path = folder / "ways.json"
    write_json(path, ways_json(found))
    return (path,)
