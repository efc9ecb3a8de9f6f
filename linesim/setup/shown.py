"""How a refusal shows what was read."""

from collections.abc import Mapping
from datetime import date, time

_LONGEST = 60
_HUGE_BITS = 1000
_DEEPEST = 4
"""Tables and lists within one another that are shown."""
_ADDRESS = " at 0x"
"""In what Python prints of an object that has no text of its own."""


def shown(value: object) -> str:
    """Show a value as it stands in the file, shortened to some 60 characters."""
    text = _as_toml(value)
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


def _as_toml(value: object, left: int = _DEEPEST) -> str:
    if isinstance(value, Mapping | list) and not left:
        return "..."
    if isinstance(value, Mapping):
        pairs = ", ".join(
            f"{visible(str(key))} = {_as_toml(each, left - 1)}" for key, each in value.items()
        )
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, list):
        return f"[{', '.join(_as_toml(each, left - 1) for each in value)}]"
    return f'"{visible(value)}"' if isinstance(value, str) else _bare(value)


def _bare(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    # Python prints no whole number of more than 4300 digits in decimals
    if isinstance(value, int) and value.bit_length() > _HUGE_BITS:
        return hex(value)
    if isinstance(value, int | float | date | time):
        return str(value)
    try:
        text = " ".join(repr(value).split())
    except Exception:  # noqa: BLE001 -- an object of Python may do anything when it is printed
        text = _ADDRESS
    return f"a Python {type(value).__name__}" if _ADDRESS in text else visible(text)


def visible(text: str) -> str:
    """Write characters that a terminal would not show, or would obey, as escapes."""
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text
    )
