"""A drawn target is drawn once for all that ask for it, and makes room for the next."""

from weakref import ref

from linesim.forward.reference import ArrayReference
from linesim.setup.load import changed
from linesim.targets.load import target_reference
from tests.stations import plain_setup

BASE = plain_setup(
    "Web",
    target={"image": "foil", "pixel_size": "40 um", "width": "8 mm", "height": "20 mm"},
    transport={"speed": "1 m/s"},
    camera={"pixels": 64},
)


def test_other_light_draws_nothing_anew() -> None:
    """A scan, its page and one in other light or of other white share one drawing."""
    first = target_reference(BASE)
    other = {"light.illuminance": "10 klx", "target.white_reflectance": 0.5}
    assert target_reference(changed(BASE, other)) is first
    assert target_reference(changed(BASE, {"target.width": "9 mm"})).shape[1] == 225


def test_only_the_last_is_held() -> None:
    """Two large ones need not fit side by side."""
    reference = target_reference(BASE)
    assert isinstance(reference, ArrayReference)
    first = ref(reference.data)
    del reference
    assert first() is not None
    target_reference(changed(BASE, {"target.image": "steps"}))
    assert first() is None
