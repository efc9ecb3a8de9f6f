"""A rectangle of reference pixels, and the reflectance that lies there."""

from dataclasses import dataclass, replace

from linesim.setup.arrays import ImageArray
from linesim.targets.painted import Grid


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A rectangle of whole reference pixels."""

    grid: Grid
    # first row and one past the last
    top: int
    bottom: int
    # first column and one past the last
    left: int
    right: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns, 0 where it is empty."""
        return max(self.bottom - self.top, 0), max(self.right - self.left, 0)

    @property
    def empty(self) -> bool:
        """Whether there is nothing in it."""
        return 0 in self.shape

    def between(self, first: int, last: int) -> "Window":
        """Give the part between two rows."""
        return replace(self, top=max(self.top, first), bottom=min(self.bottom, last))

    def grown(self, margin_px: int) -> "Window":
        """Give the window with a margin, as far as the reference goes."""
        return Window(
            grid=self.grid,
            top=max(self.top - margin_px, 0),
            bottom=min(self.bottom + margin_px, self.grid.rows),
            left=max(self.left - margin_px, 0),
            right=min(self.right + margin_px, self.grid.columns),
        )

    def within(self, outer: "Window") -> tuple[slice, slice]:
        """Tell where it lies in a larger one."""
        return (
            slice(self.top - outer.top, self.bottom - outer.top),
            slice(self.left - outer.left, self.right - outer.left),
        )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class View:
    """What lies in a window."""

    window: Window
    image: ImageArray  # shape (rows, columns); linear reflectance

    def part(self, window: Window) -> ImageArray:
        """Give the reflectance in a smaller window."""
        return self.image[window.within(self.window)]
