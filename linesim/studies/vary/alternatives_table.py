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
from linesim.studies.vary.alternatives import Alternative, costs
from linesim.studies.vary.table import laid_out

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


def alternatives_text(title: str, found: tuple[Alternative, ...]) -> str:
    """Lay the ways to four times the electrons out for the console."""
    possible = [alternative for alternative in found if alternative.budget is not None]
    lines = [
        *paragraph(f"{title}: ways to four times the electrons", "", ""),
        "",
        *laid_out(["", *(alternative.title for alternative in possible)], _rows(possible)),
        "",
        "what each costs",
        *paragraphs(cost_texts(found)),
        "",
        "cautions",
        *paragraphs(caution_texts(found)),
    ]
    return "\n".join(lines)


def _rows(possible: list[Alternative]) -> list[list[str]]:
    rows = [
        [label, *(_cell(alternative, group, name) for alternative in possible)]
        for label, group, name in _LINES
    ]
    speeds = [
        f"{alternative.setup.transport.speed_mm_s:.4g}"
        for alternative in possible
        if alternative.setup
    ]
    rows.insert(6, [_SPEED, *speeds])
    states = [
        STATES[worst_state(alternative.budget.verdicts)]
        for alternative in possible
        if alternative.budget
    ]
    rows.append(["all together", *states])
    return [row for row in rows if any(cell != "-" for cell in row[1:])]


def _cell(alternative: Alternative, group: str, name: str) -> str:
    value = alternative.budget.groups[group].get(name) if alternative.budget else None
    if value is None:
        return "-"
    weakest = max(values(value)) if name in LOW_IS_GOOD else min(values(value))
    return digits(weakest, 4)


def cost_texts(found: tuple[Alternative, ...]) -> Iterator[str]:
    """Say what each alternative costs, and why one is not possible."""
    for alternative, ratios in costs(found, _GROUPS):
        parts = [
            text.format(ratio=f"{ratios[name]:.3g}")
            for name, text in _COSTS.items()
            if name in ratios
        ]
        parts += list(_own(alternative))
        yield f"{alternative.title}: {', '.join(parts) or 'nothing that these figures show'}."
    yield from (
        f"{alternative.title}: not possible here ({alternative.refusal})"
        for alternative in found
        if alternative.refusal
    )
    yield _KEPT_BLUR


def _own(alternative: Alternative) -> Iterator[str]:
    """Say what the figures of a budget do not."""
    if "transport.speed" in alternative.changes:
        yield "a quarter of the speed, and so of the product"
    if "camera.tdi_stages" in alternative.changes:
        yield "another camera, whose line clock must keep step with the product"
    if alternative.budget and alternative.setup:
        for each in alternative.budget.verdicts:
            # what clips, or cannot run, is no alternative
            cannot = "cannot run: " if each.state == "cannot run" else ""
            if not each.met and (cannot or each.requirement == "clipping"):
                yield f"but {cannot}{clause(alternative.setup, each)}"


def caution_texts(found: tuple[Alternative, ...]) -> list[str]:
    """Give the cautions about people, each once with the alternatives that it holds for."""
    return people_lines(
        shared_cautions(
            (alternative.title, alternative.setup) for alternative in found if alternative.setup
        )
    )


def alternatives_json(found: tuple[Alternative, ...]) -> dict[str, object]:
    """Give all figures of all alternatives, as ways.json has them."""
    return {
        "ways": [{"title": alternative.title, **_json_of(alternative)} for alternative in found],
        "costs": list(cost_texts(found)),
        "cautions": caution_texts(found),
    }


def _json_of(alternative: Alternative) -> dict[str, object]:
    if alternative.budget is None or alternative.setup is None:
        return {"refused": alternative.refusal}
    return {"speed_mm_s": alternative.setup.transport.speed_mm_s, **alternative.budget.as_dict()}


def write_alternatives(found: tuple[Alternative, ...], folder: Path) -> tuple[Path, ...]:
    """Write the figures of all alternatives."""
    path = folder / "ways.json"
    write_json(path, alternatives_json(found))
    return (path,)
