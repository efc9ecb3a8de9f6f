"""What the keys of the lens demand of one another."""

from collections.abc import Iterator

from linesim.setup.lens.lens import OVER_FIELD_KEYS, Lens
from linesim.setup.lens.over_field import ends_before
from linesim.setup.setup import Setup
from linesim.setup.shown import shown


def lens_is_in_front(setup: Setup) -> Iterator[str]:
    """Find a working distance that no magnification follows from."""
    lens, text = setup.lens, shown(setup.texts["lens"].get("working_distance"))
    if lens.working_distance_mm is None:
        return
    if lens.focal_length_mm is None:
        yield (
            f"lens.working_distance: read {text}, but which magnification that is hangs on the "
            'lens; expected a lens.focal_length too, for example "60 mm"'
        )
    elif not lens.working_distance_mm > lens.focal_length_mm:
        yield (
            f"lens.working_distance: read {text}, but a lens of {lens.focal_length_mm:g} mm makes "
            "no picture of what is nearer than that; expected more"
        )


def field_reaches_the_ends(setup: Setup) -> Iterator[str]:
    """Find values over the field of the lens that end before the line does."""
    named = {field.alias or name: name for name, field in Lens.model_fields.items()}
    for key in OVER_FIELD_KEYS:
        given = getattr(setup.lens, named[key])
        text = setup.texts["lens"].get(key)
        if fault := ends_before(f"lens.{key}", given, setup.half_line_mm, text):
            yield fault
