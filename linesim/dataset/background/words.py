"""What a card says of where product and faults of a set come from."""

from collections.abc import Iterator

from linesim.dataset.plan.plan import Plan
from linesim.defects.kinds import RELIEF
from linesim.targets.faces.face import face_of

_SIMULATED = (
    "**Simulated.** Every image and every fault here is computed by linesim; none was "
    "photographed. Keep these images out of test sets that stand for real product."
)
_IN_SCANS = (
    "**Simulated faults in real scans.** The product was scanned; every fault on it is computed by "
    "linesim, its electrons and their noise put into the scan. Keep these images out of test sets "
    "that stand for real faults."
)


def head_words(plan: Plan) -> str:
    """Say first of all what is simulated."""
    return _IN_SCANS if plan.scenes.real else _SIMULATED


def limit_words(plan: Plan) -> Iterator[str]:
    """Say what product and faults are not, each in a sentence or two."""
    own = sorted(each.name for each in plan.faults.kinds if each.identity)
    drawn = any(not each.identity for each in plan.faults.kinds)
    yield _surfaces(plan)
    if drawn or not own:
        yield (
            "Faults are drawn from formulas; sizes and strengths are plausible for the trade, not "
            "measured on a plant."
        )
    if own:
        yield (
            f"Some kinds ({', '.join(own)}) are pictures or outlines of the plan's own: each is "
            "those few, turned, scaled and made stronger or weaker, not a new one."
        )
    if plan.nuisances.wanted:
        names = ", ".join(each.recipe.kind for each in plan.nuisances.wanted)
        yield (
            f"On good product lies what is no fault and has no label ({names}); each image's "
            "record lists it under `nuisances`."
        )
    yield (
        "Scenes are a few kinds of product; a detector trained on them must be tried on real "
        "images of the product it is for."
    )


def _surfaces(plan: Plan) -> str:
    """Say what is left out of the face."""
    if plan.scenes.real:
        return (
            "Scans are as one station took them, and as free of faults as somebody said; faults in "
            "them are matt and flat: no gloss, no relief, no shadow."
        )
    if any(each.name in RELIEF for each in plan.faults.kinds):
        return (
            "Faults with relief are lit by their slopes, on a level face of one finish; nothing "
            "throws a shadow."
        )
    if face_of(plan.base) is not None:
        return "Surfaces are level and of one finish: no relief, no shadow."
    return "Surfaces are matt and flat: no gloss, no relief, no shadow."
