"""Which path makes an image, numpy's or torch's on a device; what is not there is told first."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, nullcontext
from importlib.metadata import version
from importlib.util import find_spec
from re import fullmatch
from typing import TYPE_CHECKING, NamedTuple

from linesim.forward.sampling.zones import uneven_keys
from linesim.setup.errors import InputError
from linesim.setup.setup import Setup
from linesim.setup.shown import shown

if TYPE_CHECKING:
    import torch

NUMPY, AUTO, ALL = "numpy", "auto", "all"
_WORDS = (
    'numpy, cpu, cuda, "cuda:1" (the second device), "cuda:0,cuda:1" (both), all (of cuda) or auto'
)


class Choice(NamedTuple):
    """
    The path that makes an image.

    Parameters
    ----------
    device : str or None
        As torch names it, several with commas between; None for the numpy path.
    why : str; why "auto" takes the numpy path, as a sentence; else nothing
    """

    device: str | None = None
    why: str = ""


def chosen(asked: str | None, setups: Iterable[Setup] = ()) -> Choice:
    """
    Choose the path before anything is begun.

    Parameters
    ----------
    asked : str or None
        "numpy", or None for the same; "cpu", "cuda" or "cuda:1": torch there; "cuda:0,cuda:1":
        torch there, work dealt over both; "all": over all of cuda; "auto": "cuda" where it is there
        and carries every setup, else numpy.
    setups : iterable of Setup; all that are to be rendered

    Raises
    ------
    InputError; where torch or the device is not there, or does not carry one of the setups
    """
    if asked is None or asked == NUMPY:
        return Choice()
    if asked == AUTO:
        fault = _missing("cuda") or next(iter(_not_carried_by(setups)), "")
        found = fault.removesuffix('; expected "cpu"')  # it is not what was asked for
        why = f"device: auto takes the numpy path, for {found}" if fault else ""
        return Choice(device=None if why else "cuda", why=why)
    names = _all() if asked == ALL else str(asked).split(",")  # torch's own object too
    if not all(fullmatch(r"cpu|cuda(:[0-9]{1,3})?", name) for name in names):
        msg = f"device: read {shown(asked)}; expected {_WORDS}"
        raise InputError(msg)
    _alike(names)
    if faults := _not_carried_by(setups):
        raise InputError(*faults)
    return Choice(device=",".join(names))


def each_of(device: str) -> tuple[str, ...]:
    """Name the devices that share the work, one by one."""
    return tuple(device.split(","))


def dealt(device: str | None, index: int) -> str | None:
    """Name the device whose turn an image is, by its number."""
    return None if device is None else each_of(device)[index % len(each_of(device))]


def _all() -> list[str]:
    """Name every CUDA device."""
    there("cuda")
    import torch  # noqa: PLC0415 -- an extra

    return [f"cuda:{index}" for index in range(torch.cuda.device_count())]


def _alike(names: list[str]) -> None:
    """Refuse devices that are not there, or that would not give the same bytes."""
    found = [there(name) for name in names]
    models = [_model(each) for each in found] if len(found) > 1 else []
    if len(set(models)) > 1:
        named = zip(names, models, strict=True)
        listed = ", ".join(f'"{name}" is {model}' for name, model in named)
        msg = f"device: {listed}; expected devices of one model, which give the same bytes"
        raise InputError(msg)


def _model(device: "torch.device") -> str:
    import torch  # noqa: PLC0415 -- an extra

    return torch.cuda.get_device_name(device) if device.type == "cuda" else "a processor"


def rendered_on(device: str | None) -> dict[str, object]:
    """
    Say in a record what kind of device made the images; nothing of the numpy path.

    Which of several alike it was, and how many shared the work, changes no byte.
    """
    if device is None:
        return {}
    kind = each_of(device)[0].partition(":")[0]
    return {"rendered_on": {"device": kind, "torch": version("torch")}}


def _not_carried_by(setups: Iterable[Setup]) -> tuple[str, ...]:
    """List the faults of all setups, of each key the first: a varied one has many values."""
    first: dict[str, str] = {}
    for fault in (fault for setup in setups for fault in not_carried(setup)):
        first.setdefault(fault.partition(":")[0], fault)
    return tuple(first.values())


def there(device: "str | torch.device") -> "torch.device":
    """
    Name a device to torch, or refuse one that is not there.

    Raises
    ------
    InputError; with what was found, and what to install
    """
    if fault := _missing(device):
        msg = f'device: read "{device}", but {fault}'
        raise InputError(msg)
    import torch  # noqa: PLC0415 -- an extra

    return torch.device(device)


def _missing(device: "str | torch.device") -> str:
    """Say what is not there, and what is expected; nothing where all is."""
    if find_spec("torch") is None:
        return 'torch is not installed here; expected: pip install "linesim[torch]"'
    import torch  # noqa: PLC0415 -- an extra

    on = torch.device(device)
    if on.type == "cuda" and not torch.cuda.is_available():
        return f'torch {torch.__version__} finds no CUDA device here; expected "cpu"'
    found = [f'"cuda:{index}"' for index in range(torch.cuda.device_count())]
    listed = f"torch finds {len(found)} of them here; expected {', '.join(found)}"
    return listed if on.type == "cuda" and (on.index or 0) >= len(found) else ""


@contextmanager
def on_device(device: "torch.device") -> Iterator[None]:
    """
    Work on a device, and tell in a sentence that it has too little memory.

    Yields
    ------
    None; while it is the one at work
    """
    import torch  # noqa: PLC0415 -- an extra

    try:
        with torch.cuda.device(device) if device.type == "cuda" else nullcontext():
            yield
    except torch.OutOfMemoryError:
        msg = (
            f'device: read "{device}", whose memory does not hold this target and its lines; '
            "expected a larger target.pixel_size, a smaller target, or the numpy path"
        )
        raise InputError(msg) from None


def not_carried(setup: Setup) -> list[str]:
    """List what blurs or shifts a line otherwise from column to column, a sentence a key."""
    moves = setup.transport
    shifting = {
        "transport.skew": (moves.skew_deg, "deg"),
        "transport.lateral_wander": (moves.lateral_wander_um, "um"),
        "transport.flutter": (moves.flutter_mm, "mm"),
    }
    faults = [
        f"{key}: read {value:g} {unit}, but the torch path keeps every line straight and at one "
        "distance; expected 0, or the numpy path, which carries it"
        for key, (value, unit) in shifting.items()
        if value != 0
    ]
    faults += [
        f"lens.{key}: read {shown(setup.texts['lens'][key])}, but the torch path keeps the lens "
        "the same all along the line; expected one value, or the numpy path, which carries it"
        for key in uneven_keys(setup)
    ]
    lag, binning = setup.camera.lag, setup.acquisition.binning
    if lag > 0 and setup.acquisition.binning_along == "lines" and binning.along > 1:
        faults.append(
            f"camera.lag: read {lag:g}, but the torch path sees each of the joined lines by "
            "itself; expected 0, or the numpy path, which carries it"
        )
    return faults
