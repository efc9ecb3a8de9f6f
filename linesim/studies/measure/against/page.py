"""The page of a comparison: prediction over capture, what is left, spectra, figures, findings."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from linesim.figures.safety import MACHINERY
from linesim.metrics.scene.compared import TILE_PX
from linesim.report.page import write_report
from linesim.report.page_parts import (
    PEOPLE,
    Cautions,
    Divider,
    Page,
    Part,
    Picture,
    Pictures,
    Section,
    Table,
    Text,
)
from linesim.report.picture import round_length_mm, white_for
from linesim.report.plots import INK, new_figure, style, svg_text
from linesim.setup.arrays import FloatArray
from linesim.studies.measure.against.agreement import Difference
from linesim.studies.measure.against.judged import Judged
from linesim.studies.measure.against.study import Compared
from linesim.studies.measure.against.table import AGREES, GEOMETRY, LABELS
from linesim.studies.measure.areas import GREY
from linesim.studies.measure.lines import plus_minus
from linesim.studies.scan.before_after import on_screen, png_of

_LONGEST_PX = 1000
_SHOWN_PX = 480
_LEFT_SIGMAS = 4.0


def write_page(found: Sequence[Compared], title: str, folder: Path) -> Path:
    """Write the page of one capture or several."""
    path = folder / "report.html"
    write_report(path, _page(found, title))
    return path


def _page(found: Sequence[Compared], title: str) -> Page:
    several = len(found) > 1
    findings = [
        f"{each.agreement.name}: {text}" if several else text
        for each in found
        for text in each.agreement.findings
    ]
    sections = [
        Section(f"{name}, {each.agreement.name}" if several else name, tuple(parts))
        for each in found
        for name, parts in _parts(each)
    ]
    cautions = [(each.code, each.text) for each in found[0].cautions]
    return Page(
        title=title,
        job="Capture against prediction",
        lead=tuple(findings or (AGREES,)),
        sections=(*sections, Section(PEOPLE, (Cautions("Mind", (*cautions, ("", MACHINERY))),))),
    )


def _parts(one: Compared) -> "list[tuple[str, list[Part]]]":
    lies = list(one.agreement.explanations)
    detailed = [each for each in one.judged.values() if each.noise is not None]
    left = Pictures((_left(one), *map(_spectra, detailed[:1])))
    return [
        ("Prediction and capture in register", [_overlay(one)]),
        ("What the prediction does not explain", [left]),
        ("How the image lies", [*([Text(tuple(lies))] if lies else []), _lies(one)]),
        ("Figures", [_figures(colour, own) for colour, own in one.agreement.differences.items()]),
    ]


def _small(image: FloatArray) -> FloatArray:
    """Average to a size for the page."""
    factor = max(1, int(np.ceil(max(image.shape[:2]) / _LONGEST_PX)))
    rows, columns = (side // factor for side in image.shape[:2])
    cut = image[: rows * factor, : columns * factor]
    return np.asarray(cut.reshape(rows, factor, columns, factor, -1).mean(axis=(1, 3)))


def _overlay(one: Compared) -> Divider:
    seen, model = _small(one.placed.captured_dn), _small(one.placed.predicted_dn)
    black_dn = float(one.prediction.setup.camera.black_level_dn)
    white_dn = white_for(np.maximum(seen, 0).astype(np.uint16), black_dn)
    span_dn = white_dn - black_dn
    shown = [
        on_screen(((each - black_dn) / span_dn).squeeze().astype(np.float32))
        for each in (model, seen)
    ]
    width_mm = one.placed.captured_dn.shape[1] * one.prediction.sides_um[1] / 1000
    bar_mm = round_length_mm(0.3 * width_mm)
    return Divider(
        before=png_of(shown[0]),
        after=png_of(shown[1]),
        names=("predicted", "captured"),
        alts=(
            "The target as the setup predicts it, rendered where the capture lies, without noise",
            "The capture, where it shows the target",
        ),
        size_px=(shown[0].shape[1], shown[0].shape[0]),
        bar=(f"{bar_mm:g} mm", bar_mm / width_mm),
        caption=(
            f"One grey scale for both, from {black_dn:.0f} DN (black) to {white_dn:.0f} DN "
            "(white). The prediction is rendered anew where the capture lies: mirroring is undone, "
            "nothing is resampled."
        ),
    )


def _left(one: Compared) -> Picture:
    """Show what is left, in standard deviations of the noise, grey for none."""
    colour, own = next(iter(one.judged.items()))
    index = list(one.judged).index(colour)
    noise_dn = one.prediction.noise_dn(one.placed.predicted_dn[:, :, index], index)
    share = own.left_dn / noise_dn
    grey = np.clip(0.5 + _small(share).squeeze() / (2 * _LEFT_SIGMAS), 0, 1)
    shown = np.rint(255 * grey).astype(np.uint8)
    larger = max(1, _SHOWN_PX // max(shown.shape))
    return Picture(
        image=png_of(np.kron(shown, np.ones((larger, larger), dtype=np.uint8))),
        alt="Captured less predicted, after light, blur, streaks and bands are taken off",
        caption=(
            f"Captured less explained, from -{_LEFT_SIGMAS:g} (black) to +{_LEFT_SIGMAS:g} (white) "
            "standard deviations of the predicted noise. Even grain is noise; a shape is something "
            "that the setup does not have, a mark on the target for one."
        ),
    )


def _spectra(own: Judged) -> Picture:
    assert own.noise is not None  # noqa: S101 -- chosen so by the caller
    figure, axes = new_figure(width_mm=110.0, height_mm=100.0, rows=2)
    cycles = np.arange(1, TILE_PX // 2) / TILE_PX
    powers = {"noise": own.noise.noise_power, "whole image": own.noise.seen_power}
    for (what, power), each in zip(powers.items(), axes[:, 0], strict=True):
        for index, name in enumerate(("across", "along")):
            each.plot(cycles, power[1:, index], label=name, **style(index))
        each.set_ylabel(f"{what},\ncaptured over predicted")
        each.axhline(1.0, color=INK, linewidth=0.8)
        each.set_ylim(bottom=0.0, top=max(2.0, 1.1 * float(power[1:].max())))
    axes[1, 0].set_xlabel("spatial frequency [cycles a sample]")
    axes[0, 0].legend(ncols=2)
    return Picture(
        image=svg_text(figure),
        alt="Power spectra of noise and of the whole image, captured over predicted",
        caption=(
            "Spectra, captured over predicted: 1 is agreement. A hump of the noise is interference "
            "or a pattern; a whole image that falls towards the right is blur."
        ),
    )


def _lies(one: Compared) -> Table:
    found = one.agreement.geometry
    rows = [
        (
            label,
            "not told by this target"
            if name in found.untold
            else f"{plus_minus(found.figures[name])} {unit}",
        )
        for name, (label, unit) in GEOMETRY.items()
    ]
    return Table(title="Geometry", rows=(*rows, ("mirrored", found.mirrored)))


def _figures(colour: str, own: Sequence[Difference]) -> Table:
    head = ("", "predicted", "measured", "difference", "sigma", "")
    rows = []
    for each in own:
        label, unit = LABELS[each.name]
        rows.append((
            label,
            f"{each.predicted:.5g} {unit}".rstrip(),
            plus_minus(each.measured),
            "" if each.share is None else f"{each.share:+.1%}",
            f"{each.sigma:+.1f}",
            "off" if each.is_off else "",
        ))  # fmt: skip
    title = "Predicted and measured" if colour == GREY else f"Predicted and measured, {colour}"
    return Table(title=title, head=head, rows=tuple(rows))
