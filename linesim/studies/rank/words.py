"""What a ranking says, in sentences."""

from collections.abc import Iterator

import numpy as np

from linesim.figures.plain_numbers import digits, plain_number
from linesim.figures.safety import Shared, shared_cautions
from linesim.setup.setup import Setup
from linesim.studies.batch.judged import DEMANDS
from linesim.studies.batch.space import SHARE
from linesim.studies.rank.row import Row
from linesim.studies.rank.space import VIEW
from linesim.studies.rank.study import Ranking

REASONS = {
    "legal_setup": "not a possible setup",
    "line_rate": "line rate over the camera's",
    "pulse_rate": "line rate over the lamp's pulse rate",
    "link": "image data over the link's",
    "exposure": "exposure longer than the line period",
    "most_irradiance": "light over your limit",
    "least_field_of_view": "field of view under your limit",
    "least_depth_of_field": "depth of field under your limit",
    "limits": "another of your [limits]",
    "saturation": "white over your limit",
    "clipping": "brightest part clips",
    "snr": "SNR on the product too low",
    "smallest_defect": "smallest defect not found",
}
"""What it means to miss a demand."""
_WITHOUT_KEY = ("binning", "camera", "lens", "light")
_SAME = 1e-6
_FEW_REFUSALS = 3
_LIGHT = "irradiance_target_w_m2"


def chosen(row: Row, found: Ranking) -> str:
    """Say what an option chooses, where there is a choice."""
    several = {axis.name for axis in found.space.axes if len(axis.points) > 1}
    parts = [_choice(name, label) for name, label in row.choice.items() if name in several]
    return ", ".join(parts) or "the only option"


def _choice(name: str, label: str) -> str:
    """Name a choice as people do; what says nothing by itself gets its key."""
    key = short(name)
    if name == SHARE and float(label.partition(" ")[0]) == 1:
        return "full exposure"
    has_unit = label[:1].isdigit() and label.rpartition(" ")[2][-1:].isalpha()
    if key in _WITHOUT_KEY or has_unit:
        return label
    return f"f/{label}" if key == "f_number" else f"{key.replace('_', ' ')} {label}"


def short(name: str) -> str:
    """Name an axis without its section."""
    return name.rpartition(".")[2]


def answer(found: Ranking) -> tuple[str, ...]:
    """Say whether there is a set-up that does, and which."""
    total, passing = found.space.count, len(found.order)
    if passing == 0:
        return (f"No: of {total} options none meets every demand.", *_nearest(found))
    best = found.rows[0]
    share = "all" if passing == total else percent(passing / total)
    return (
        f"Yes: {passing} of {total} options ({share}) meet every demand.",
        f"Least light: {chosen(best, found)}.",
        f"It reaches {_reached(best, found)}.",
        *_ends(found),
        *_views(found),
    )


def _nearest(found: Ranking) -> Iterator[str]:
    row = found.nearest
    if row is None:
        return
    place = int(found.first[row.index])
    yield (
        f"The nearest is {chosen(row, found)}: it meets all that is judged before, and misses by "
        f"{percent(-float(found.margin[row.index]))} ({REASONS[DEMANDS[place]]})."
    )


def _reached(row: Row, found: Ranking) -> str:
    need, figures = row.setup.requirement, row.figures
    snr = f"SNR on the product {digits(row.worst('snr_product'))}"
    parts = [snr if need.snr is None else f"{snr} ({digits(need.snr)} wanted)"]
    size_um = row.largest(found.size_name)
    if size_um is not None:
        what = "diameter" if need.defect_shape == "disc" else "width"
        size = f"defects found from {plain_number(size_um, 3)} um {what}"
        wanted = need.smallest_defect_um
        if need.defect_relief is not None:
            size = f"a {need.defect_relief.kind} found from {plain_number(size_um, 3)} um width"
            wanted = need.defect_relief.width_um
        parts.append(size if wanted is None else f"{size} ({plain_number(wanted)} um wanted)")
    parts.append(f"brightest part at {percent(figures['clipping_share'])} of its limit")
    parts.append(f"{plain_number(figures['area_rate_m2_s'], 3)} m²/s of web")
    return "; ".join(parts)


def _ends(found: Ranking) -> Iterator[str]:
    """Tell where the best lies at the end of what was on offer."""
    light = found.figures["irradiance_target_w_m2"]
    least, best = np.nanmin(light), light[found.order[0]]
    if np.nanmax(light) > least * (1 + _SAME) and best <= least * (1 + _SAME):
        yield "It takes the least light on offer: a range that starts lower may do as well."
    shares = [axis for axis in found.space.axes if axis.name == SHARE]
    if not shares and found.space.base.acquisition.exposure != "full":
        yield "The exposure is that of the base: exposure_share or acquisition.exposure opens it."


def _views(found: Ranking) -> Iterator[str]:
    view_mm = found.figures["field_of_view_mm"][found.order]
    free = all(each.requirement != VIEW for each in found.space.limits)
    if free and np.ptp(view_mm) > _SAME * view_mm.max():
        yield (
            f"The field of view differs, from {view_mm.min():.4g} to {view_mm.max():.4g} mm: "
            "least_field_of_view in [limits] leaves out what is too narrow for the web."
        )


def percent(share: float) -> str:
    """Say a share to two digits, and one under a tenth of a percent as such."""
    small = 0.001
    if share < small:
        return "under 0.1 %"
    if 1 - small < share < 1:
        return "over 99.9 %"
    if 0.99 < share < 1:  # noqa: PLR2004 -- what two digits would round to all
        return f"{100 * share:.1f} %"
    return f"{float(f'{100 * share:.2g}'):g} %"


def refusals(found: Ranking) -> list[str]:
    """Say why some options are refused, the most frequent reasons first."""
    ranked = sorted(found.refused.items(), key=lambda pair: -pair[1])
    said = [f"{count} options: {why}" for why, count in ranked[:_FEW_REFUSALS]]
    rest = len(ranked) - _FEW_REFUSALS
    return [*said, f"and {rest} more reasons"] if rest > 0 else said


def rank_people(found: Ranking) -> tuple[Shared, ...]:
    """Find what to mind about the light of all options shown, and of the brightest listed."""
    return shared_cautions(_options(found))


def _options(found: Ranking) -> Iterator[tuple[str, Setup]]:
    shown = {row.index: row.setup for row in (*found.rows, *found.front_rows)}
    places = {int(index): place for place, index in enumerate(found.order.tolist(), 1)}
    for index in sorted(shown, key=places.__getitem__):
        yield f"rank {places[index]}", shown[index]
    if found.nearest is not None:
        yield "the nearest", found.nearest.setup
    if found.order.size:
        index = int(found.order[np.argmax(found.figures[_LIGHT][found.order])])
        if index not in shown:
            yield f"rank {places[index]}, the brightest", found.space.setup(index)
