"""What the frames of a table need of one another."""

from collections.abc import Iterator, Sequence

from linesim.files.manifest_rows import Group, Light, Row, grouped

FEWEST_FRAMES = 2
"""From which noise in time can be told."""


def group_faults(rows: Sequence[Row], name: str, light: Light | None) -> Iterator[str]:
    """Find what is missing in a table whose rows are all right one by one."""
    groups = grouped(tuple(rows))
    for kind in ("flat", "dark"):
        if not any(group.kind == kind for group in groups):
            yield f"{name} has no {kind} frames; expected two at least"
    for group in groups:
        if len(group.rows) < FEWEST_FRAMES:
            yield (
                f"{name}, {group.lines}: this is the only {_told(group, light)}; expected two at "
                "least, for noise is what differs between them"
            )
    darks = {group.exposure_us for group in groups if group.kind == "dark"}
    if darks:
        yield from _without_dark(groups, darks, name)


def _told(group: Group, light: Light | None) -> str:
    unit = "W/m²" if light == "irradiance_w_m2" else "photons"
    lit = f" and {group.light:g} {unit}" if group.light is not None else ""
    return f"{group.kind} frame at {group.exposure_us:g} us{lit}"


def _without_dark(groups: tuple[Group, ...], darks: set[float], name: str) -> Iterator[str]:
    """Say once for each exposure which flats lack a dark."""
    missing = {
        group.exposure_us
        for group in groups
        if group.kind == "flat" and group.exposure_us not in darks
    }
    for exposure_us in sorted(missing):
        lines = [
            str(row.line)
            for group in groups
            if group.kind == "flat" and group.exposure_us == exposure_us
            for row in group.rows
        ]
        yield (
            f"{name}, line{'s' * (len(lines) > 1)} {', '.join(lines)}: there are no dark frames at "
            f"{exposure_us:g} us; expected two at least, for dark signal grows with the exposure"
        )
