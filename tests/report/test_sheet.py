"""Pages for people: sizes, one scale, and scale bars as long as they say."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from numpy.typing import NDArray

from linesim.report.picture import INK, Grid, caption_font, picture, round_length_mm
from linesim.report.sheet import Detail, Panel, bar_mm, scale_px_mm, sheet

RED, BLUE = (255, 0, 0), (0, 0, 255)
Page = NDArray[np.uint8]


def even(
    lines: int, width: int, across_um: float, along_um: float, paint: tuple[int, int, int] = RED
) -> Panel:
    """Make a panel of one colour."""
    image = np.full((lines, width, 3), paint, dtype=np.uint8)
    return Panel(image=image, grid=Grid(across_um=across_um, along_um=along_um), title="even")


def box(page: Page, paint: tuple[int, int, int]) -> tuple[int, int, int, int]:
    """Find the first row, the rows, the first column and the columns of a colour. [px]."""
    rows, columns = np.nonzero((page == paint).all(axis=2))
    return (int(rows.min()), int(np.ptp(rows)) + 1, int(columns.min()), int(np.ptp(columns)) + 1)


def stops(line: NDArray[np.bool_]) -> list[float]:
    """Middles of the dark runs of a row or column."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], line, [False]]).astype(np.int8)))
    return [(first + last - 1) / 2 for first, last in zip(edges[::2], edges[1::2], strict=True)]


def level_bar_px(page: Page, row: int) -> float:
    """Length of a level bar, from stop to stop, seen 5 px above its middle. [px]."""
    left, right = stops((page[row - 5] == INK).all(axis=1))[:2]
    return right - left


def test_the_bar_of_a_sheet_is_as_long_as_it_says() -> None:
    """Bar over picture in px is bar over picture in mm, within a pixel."""
    panels = [even(100, 130, 75.0, 75.0), even(60, 97, 81.0, 81.0, BLUE)]
    page = sheet(panels, columns=2)
    *_, width_px = box(page, RED)
    # the bar lies 24 px over the lower edge
    found_px = level_bar_px(page, len(page) - 24)
    assert found_px == pytest.approx(bar_mm(panels) * width_px / (0.075 * 130), abs=1)


def test_an_upright_bar_is_as_long_as_it_says() -> None:
    """A picture stretched twofold gets a bar of the same length along travel, twice as tall."""
    panels = [even(100, 100, 100.0, 100.0, BLUE), even(80, 50, 200.0, 100.0)]
    page = sheet(panels, columns=1)
    top, tall_px, left, width_px = box(page, RED)
    # the middle of the upright bar stands 9 px beside the frame, its stops reach 6 px from there
    column = (page[top - 1 : top + tall_px, left + width_px + 1 + 9 + 1 - 5] == INK).all(axis=1)
    above, below = stops(column)[:2]
    assert below - above == pytest.approx(bar_mm(panels) * tall_px / (0.1 * 80), abs=1)
    assert tall_px / (0.1 * 80) == pytest.approx(2 * width_px / (0.2 * 50), rel=0.01)


def test_all_pictures_have_one_scale() -> None:
    """What is equally wide on the target is equally wide on the sheet, whatever its samples."""
    page = sheet([even(50, 200, 50.0, 50.0), even(25, 100, 100.0, 100.0, BLUE)], columns=2)
    assert box(page, RED)[1] == box(page, BLUE)[1]
    assert box(page, RED)[3] == box(page, BLUE)[3] == 200


def test_samples_get_whole_pixels() -> None:
    """Enlarged samples are all of one size: uneven ones would look like a fault of transport."""
    image = np.zeros((10, 37, 3), dtype=np.uint8)
    image[:, ::2] = RED
    panel = Panel(image=image, grid=Grid(across_um=75.0, along_um=75.0), title="columns")
    page = sheet([panel], columns=1, width_px=260)
    row = (page[box(page, RED)[0]] == RED).all(axis=1)
    edges = np.flatnonzero(np.diff(row.astype(np.int8)))
    assert_array_equal(np.diff(edges), 7)  # 260 // 37


def test_a_picture_too_wide_is_shrunk() -> None:
    """The widest takes what it may, when its samples cannot have a pixel each."""
    page = sheet([even(100, 1000, 50.0, 50.0)], columns=1, width_px=250)
    assert box(page, RED)[3] == 250
    assert scale_px_mm([even(100, 1000, 50.0, 50.0)], 250) == pytest.approx(5.0)


def test_panels_stand_in_reading_order() -> None:
    """Three panels in two columns: right of, then below the first."""
    green = (0, 255, 0)
    paints = (RED, BLUE, green)
    page = sheet([even(20, 20, 50.0, 50.0, paint) for paint in paints], columns=2)
    (top, _, left, width), second, third = (box(page, paint) for paint in paints)
    assert second[0] == top
    assert second[2] > left + width
    assert third[2] == left
    assert third[0] > top + width


def test_a_detail_is_magnified_below() -> None:
    """A quarter of the picture is shown at four times its size, as wide as the picture."""
    image = np.full((80, 80, 3), RED, dtype=np.uint8)
    image[20:40, 30:50] = BLUE
    detail = Detail(first_line=20, first_column=30, lines=20, columns=20)
    panel = Panel(
        image=image, grid=Grid(across_um=50.0, along_um=50.0), title="part", detail=detail
    )
    page = sheet([panel], columns=1, width_px=240)
    top, tall, *_ = box(page, RED)
    below = page[top + tall :]
    assert box(below, BLUE)[1::2] == (240, 240)


def test_a_heading_adds_its_height_alone() -> None:
    """With a heading the same panels stand lower, and nothing else changes."""
    panels = [even(40, 300, 50.0, 50.0)]
    plain, headed = sheet(panels, columns=1), sheet(panels, columns=1, heading="Faults")
    shift = headed.shape[0] - plain.shape[0]
    assert shift > 20
    assert_array_equal(headed[shift + 20 :], plain[20:])


def test_grey_panels_are_taken() -> None:
    """A grey picture of two dimensions shows its values."""
    image = np.full((30, 30), 137, dtype=np.uint8)
    page = sheet(
        [Panel(image=image, grid=Grid(across_um=50.0, along_um=50.0), title="grey")], columns=1
    )
    assert (page == 137).all(axis=2).sum() == (30 * (260 // 30)) ** 2


def test_no_panel_is_refused() -> None:
    """Without a panel, or a column to put it in, there is no sheet."""
    with pytest.raises(ValueError, match="got 0 and 2"):
        sheet([], columns=2)
    with pytest.raises(ValueError, match="got 1 and 0"):
        sheet([even(2, 2, 50.0, 50.0)], columns=0)


@pytest.mark.parametrize(("lines", "width", "along_um"), [(200, 400, 75.0), (90, 50, 150.0)])
def test_the_bars_of_a_picture_are_as_long_as_they_say(
    lines: int, width: int, along_um: float
) -> None:
    """Both bars of a single picture, each against its own side."""
    image = np.full((lines, width, 3), RED, dtype=np.uint8)
    page = picture(image, Grid(across_um=75.0, along_um=along_um), "caption")
    top, tall_px, left, width_px = box(page, RED)
    wide_mm, tall_mm = 0.075 * width, along_um * lines / 1000
    found_px = level_bar_px(page, top + tall_px + 20)
    assert found_px == pytest.approx(round_length_mm(0.4 * wide_mm) * width_px / wide_mm, abs=1)
    above, below = stops((page[:, left - 24 - 5] == INK).all(axis=1))[:2]
    expected_px = round_length_mm(0.4 * tall_mm) * tall_px / tall_mm
    assert below - above == pytest.approx(expected_px, abs=1)


def test_captions_have_the_signs_of_print() -> None:
    """Each sign has a shape of its own in the letters of captions, not that of a missing one."""
    font = caption_font(16)
    missing = bytes(font.getmask("\uffff"))
    shapes = {sign: bytes(font.getmask(sign)) for sign in "µ×²–′°Ωσ≥½ü"}
    assert [sign for sign, shape in shapes.items() if shape == missing and sign != "Ω"] == []
    assert len(set(shapes.values())) == len(shapes)


def test_a_picture_stands_under_another() -> None:
    """An inset is as wide as the picture above it, its samples square."""
    inset = np.full((5, 10, 3), BLUE, dtype=np.uint8)
    above = even(40, 80, 50.0, 50.0)
    page = sheet([replace(above, inset=inset)], columns=1, width_px=240)
    assert box(page, BLUE)[1::2] == (120, 240)
    assert box(page, BLUE)[0] > box(page, RED)[0] + box(page, RED)[1]
