"""What measuring a camera leaves on disk: a `[camera]` section, all figures, a page."""

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

from linesim.files.atomic import write_bytes, write_json, write_text
from linesim.metrics.interval import Interval
from linesim.setup.shown import visible
from linesim.studies.measure.camera.measured import MeasuredCamera
from linesim.studies.measure.camera.plots import camera_page
from linesim.studies.measure.camera.table import spoken

_DIGITS = 6
_DEPTHS = (8, 10, 12, 14, 16)
_COLUMN = 38


def camera_toml(found: MeasuredCamera) -> str:
    """
    Write a camera as a section that can be pasted into a setup file.

    The pattern is that of the columns, for a line camera has no other. A full well that the end of
    the scale hides is given as what that end stands for, so that both clip together.
    """
    head = (
        f"# Measured by EMVA 1288 Release 4.0 Linear from the frames of {visible(found.name)}.",
        "# Behind a value: its 95 % interval, from temporal noise alone.",
        "",
        "[camera]",
    )
    return "\n".join([*head, *_rows(found)]) + "\n"


def _row(key: str, value: str, note: str = "") -> str:
    text = f"{key} = {value}"
    return f"{text:<{_COLUMN}}# {note}" if note else text


def _quantity(figure: Interval, unit: str) -> str:
    return f'"{max(figure.value, 0.0):.{_DIGITS}g} {unit}"'


def _rows(found: MeasuredCamera) -> Iterator[str]:
    figures, word = found.transfer.figures, found.frames.word
    yield _row("pixels", str(found.frames.shape[1]), "columns of the frames")
    yield from _pixel(found)
    yield from _efficiency(found)
    most = "at most; rounding hides it. " if found.transfer.dark_noise_is_limit else ""
    read = figures["read_noise_e"]
    what = "" if found.dark_current_e_s is not None else ", dark current included"
    yield _row("read_noise", _quantity(read, "e"), f"{most}{spoken(read)[1]}{what}")
    yield from _dark_current(found)
    yield from _full_well(found)
    yield _row("dsnu", _quantity(found.dsnu_e.column, "e"), spoken(found.dsnu_e.column)[1])
    prnu = found.prnu.column
    yield _row("prnu", f"{prnu.value:.{_DIGITS}f}", spoken(prnu)[1])
    depth = _row("bit_depth", str(word.bit_depth))
    yield depth if word.bit_depth in _DEPTHS else f"# {depth}: not a depth that a setup knows"
    gain, black = figures["gain_dn_e"], figures["black_level_dn"]
    yield _row("gain", _quantity(gain, "DN/e"), spoken(gain)[1])
    yield _row("black_level", _quantity(black, "DN"), spoken(black)[1])


def _pixel(found: MeasuredCamera) -> Iterator[str]:
    known = found.known
    if known.pixel_width_um is None:
        yield '# pixel_width = "7.5 um"               # not told; needed in a setup'
        return
    yield _row("pixel_width", f'"{known.pixel_width_um:g} um"')
    if known.pixel_height_um is not None:
        yield _row("pixel_height", f'"{known.pixel_height_um:g} um"')


def _efficiency(found: MeasuredCamera) -> Iterator[str]:
    if found.light is None:
        yield "# quantum_efficiency: cannot be told, for the light was not"
        return
    figure = found.transfer.figures["efficiency"]
    at = found.known.wavelength_nm
    where = "" if at is None else f" at {at:g} nm"
    if figure.value > 1:
        yield (
            f"# quantum_efficiency = {figure.value:.4f}: over 1, so light, pixel or wavelength are "
            "told wrong"
        )
        return
    yield _row("quantum_efficiency", f"{figure.value:.5f}", f"{spoken(figure)[1]}{where}")


def _dark_current(found: MeasuredCamera) -> Iterator[str]:
    current = found.dark_current_e_s
    if current is None:
        yield "# dark_current: the dark was seen at one exposure only"
        return
    note = spoken(current)[1]
    if current.value < 0:
        note = f"{note}; scatters below 0"
    yield _row("dark_current", _quantity(current, "e/s"), note)


def _full_well(found: MeasuredCamera) -> Iterator[str]:
    figures, rule = found.transfer.figures, found.transfer.saturation.rule
    seen = figures["saturation_e"]
    if rule == "end":
        yield f"# full_well: more than {seen.value:.{_DIGITS}g} e, where the series ends"
        return
    if rule == "variance":
        yield _row("full_well", _quantity(seen, "e"), f"{spoken(seen)[1]}, saturation capacity")
        return
    top_e = (found.top_dn - figures["black_level_dn"].value) / figures["gain_dn_e"].value
    note = f"or more: the scale ends there; saturation capacity {seen.value:.5g} e"
    yield _row("full_well", f'"{max(top_e, seen.value):.{_DIGITS}g} e"', note)


def write_camera(found: MeasuredCamera, folder: Path) -> tuple[Path, ...]:
    """Write the section for a setup file, all figures, and the page of plots."""
    toml, figures, page = (folder / f"camera.{kind}" for kind in ("toml", "json", "png"))
    write_text(toml, camera_toml(found))
    write_json(figures, found.as_dict())
    if find_spec("matplotlib") is None:
        return toml, figures
    write_bytes(page, camera_page(found))
    return toml, figures, page
