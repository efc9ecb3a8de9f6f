"""What a comparison says of lamps in other places, and of a fault with relief that they show."""

from linesim.figures.case import values
from linesim.figures.plain_numbers import change_words, digits
from linesim.studies.compare.study import Compared

_SEEN, _NARROWEST = "defect_contrast", "smallest_relief_um"
_HARDLY = 0.005
"""Changes of the product's level under this hardly show; our choice."""
_FAR = 10.0
"""Times the size asked for, from which on the narrowest found says no more; our choice."""
_PRODUCT = " than the product"


def moves_lamps(first: Compared, one: Compared) -> bool:
    """Tell whether two variants differ in where their lamps stand."""
    return _places(first) != _places(one)


def _places(one: Compared) -> list[tuple[object, ...]]:
    return [(each.arrangement, each.angle_deg) for each in one.scan.setup.lights]


def fault_of(one: Compared) -> str:
    """Name the fault with relief that is asked for; nothing where there is none."""
    asked = one.scan.setup.requirement.defect_relief
    return "" if asked is None else asked.kind


def change_of(one: Compared) -> float | None:
    """Give the change of the product's level by the fault, of several colours the strongest."""
    found = one.scan.budget["detection"].get(_SEEN)
    return None if found is None else max(values(found), key=abs)


def seen_words(one: Compared) -> str:
    """Say how the fault is seen."""
    change, kind = change_of(one), fault_of(one)
    if change is None:
        # of a product without a level there is no share
        return f"no {kind} is seen" if narrowest_um(one) is None else f"the {kind} is seen on black"
    if abs(change) < _HARDLY:
        return f"the {kind} hardly shows: it is {change_words(change)}"
    return f"the {kind} is {change_words(change)}"


def fault_words(first: Compared, one: Compared) -> str:
    """Say how the fault is seen against the first variant, and how narrow one is found."""
    before, said = change_of(first), seen_words(one)
    if before is not None and said != seen_words(first):
        said += f', with "{first.title}" {change_words(before).removesuffix(_PRODUCT)}'
    return f"{said}; {_narrowest(first, one)}"


def _narrowest(first: Compared, one: Compared) -> str:
    now, before = narrowest_um(one), narrowest_um(first)
    if now is None:
        return "none is found"
    times = now / (one.scan.setup.smallest_defect_um or now)
    if times > _FAR:
        return f"none of less than {digits(times)} times its size is found"
    said = f"{digits(now)} um"
    if before is None:
        return f"the narrowest it finds is {said}"
    was = f"{digits(before)} um"
    return f"the narrowest it finds {f'stays {said}' if said == was else f'is {said}, not {was}'}"


def narrowest_um(one: Compared) -> float | None:
    """Give the width of the narrowest such fault that is found, of several colours the worst."""
    found = one.scan.budget["detection"].get(_NARROWEST)
    return None if found is None else max(values(found))


def over_noise(one: Compared) -> float:
    """Give the change by the fault over the noise of a sample."""
    return min(values(one.scan.budget["detection"].get("defect_cnr", 0.0)))
