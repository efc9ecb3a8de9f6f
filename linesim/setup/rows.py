"""Rows of a sensor: which neighbours have the height asked for, and which pixels they can make."""

from itertools import groupby


def best_run(heights_um: tuple[float, ...], height_um: float) -> tuple[int, int]:
    """Find the longest run of neighbouring rows of one height."""
    runs, first = [], 0
    for height, group in groupby(heights_um):
        count = len(list(group))
        if height == height_um:
            runs.append((first, count))
        first += count
    return max(runs, key=lambda run: run[1], default=(0, 0))


def pixel_shapes(
    width_um: float, heights_um: tuple[float, ...], most_columns: int = 2
) -> list[tuple[float, float]]:
    """List the delivered pixels at the sensor that rows and columns can make."""
    shapes = [
        (columns * width_um, rows * height_um)
        for height_um in dict.fromkeys(heights_um)
        for rows in range(1, best_run(heights_um, height_um)[1] + 1)
        for columns in range(1, most_columns + 1)
    ]
    return list(dict.fromkeys(shapes))
