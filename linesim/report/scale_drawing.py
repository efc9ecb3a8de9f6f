"""A small drawing to scale, as SVG: boxes and lengths in µm, letters, a legend, a scale bar."""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement, tostring

from linesim.report.picture import round_length_mm

LEFT_PX, TOP_PX = 70.0, 34.0
"""Where 0 µm lies in a drawing. [px]"""
INK = "#1e1e22"
_WIDE = 420
"""Of a drawing, in its own units: those of CSS pixels at full size."""
_ROOM_PX = (240.0, 222.0)
_BAR_SHARE = 0.4
_LEGEND_STEP = 20
_TEXT_SIZE = 14.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A drawing in the making, at one scale."""

    root: Element
    px_per_um: float
    bottom_px: float

    def at(self, x_um: float, y_um: float) -> tuple[float, float]:
        """Place a point. [px]."""
        return LEFT_PX + self.px_per_um * x_um, TOP_PX + self.px_per_um * y_um

    def add(self, tag: str, **attributes: str) -> Element:
        """Add an element."""
        named = {name.replace("_", "-"): text for name, text in attributes.items()}
        return SubElement(self.root, tag, named)

    def box(
        self, corner_um: tuple[float, float], size_um: tuple[float, float], style: dict[str, str]
    ) -> None:
        """Draw a rectangle, from its upper left corner."""
        x_px, y_px = self.at(*corner_um)
        wide_px, tall_px = (self.px_per_um * side_um for side_um in size_um)
        place = {"x": x_px, "y": y_px, "width": wide_px, "height": tall_px}
        self.add("rect", **{name: f"{value:.2f}" for name, value in place.items()}, **style)

    def line(
        self, start_px: tuple[float, float], end_px: tuple[float, float], width: str = "1"
    ) -> None:
        """Draw a line."""
        path = "M{:.2f} {:.2f}L{:.2f} {:.2f}".format(*start_px, *end_px)
        self.add("path", d=path, fill="none", stroke=INK, stroke_width=width)

    def text(self, place_px: tuple[float, float], words: str, anchor: str = "start") -> None:
        """Write words."""
        x, y = (f"{value:.2f}" for value in place_px)
        size = f"{_TEXT_SIZE:g}"
        made = self.add("text", x=x, y=y, font_size=size, text_anchor=anchor, fill=INK)
        made.text = words

    def length_across(self, ends_um: tuple[float, float], y_px: float, letter: str) -> None:
        """Mark a length across, with a letter over it."""
        left_px, right_px = (self.at(x_um, 0)[0] for x_um in ends_um)
        self.line((left_px, y_px), (right_px, y_px))
        for x_px in (left_px, right_px):
            self.line((x_px, y_px - 4), (x_px, y_px + 4))
        self.text(((left_px + right_px) / 2, y_px - 8), letter, "middle")

    def length_down(
        self, ends_um: tuple[float, float], x_px: float, letter: str, side: int = 1
    ) -> None:
        """Mark a length down, with a letter to its right, or left for side -1."""
        top_px, low_px = (self.at(0, y_um)[1] for y_um in ends_um)
        self.line((x_px, top_px), (x_px, low_px))
        for y_px in (top_px, low_px):
            self.line((x_px - 4, y_px), (x_px + 4, y_px))
        place_px = (x_px + 8 * side, (top_px + low_px) / 2 + 5)
        self.text(place_px, letter, "start" if side > 0 else "end")

    def arrow_up(self, x_px: float, words: str) -> None:
        """Draw an arrow with words under it."""
        top_px = TOP_PX
        self.line((x_px, top_px + 80), (x_px, top_px), "2")
        for side in (-5, 5):
            self.line((x_px + side, top_px + 9), (x_px, top_px), "2")
        self.text((x_px, top_px + 98), words, "middle")

    def finish(self, legend: Sequence[str]) -> str:
        """Add a scale bar and a legend; give the SVG."""
        length_um = 1000 * round_length_mm(_BAR_SHARE * _ROOM_PX[0] / self.px_per_um / 1000)
        y_px, end_px = self.bottom_px + 28, self.at(length_um, 0)[0]
        self.line((LEFT_PX, y_px), (end_px, y_px), "3")
        self.text((end_px + 10, y_px + 5), f"{length_um:g} µm")
        for place, words in enumerate(legend, 1):
            self.text((LEFT_PX / 2, y_px + 14 + _LEGEND_STEP * place), words)
        tall_px = y_px + 24 + _LEGEND_STEP * len(legend)
        self.root.set("viewBox", f"0 0 {_WIDE} {tall_px:.0f}")
        return tostring(self.root, encoding="unicode")


def sheet(size_um: tuple[float, float], *, least_tall_px: float = 0.0) -> Sheet:
    """Start a drawing in which something of a size fits."""
    px_per_um = min(free / size for free, size in zip(_ROOM_PX, size_um, strict=True))
    return Sheet(
        root=Element("svg", xmlns="http://www.w3.org/2000/svg"),
        px_per_um=px_per_um,
        bottom_px=TOP_PX + max(px_per_um * size_um[1], least_tall_px),
    )
