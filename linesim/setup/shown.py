"""How a refusal shows what was read."""

from collections.abc import Mapping

_LONGEST = 60
_HUGE_BITS = 1000


def shown(value: object) -> str:
    """
    Show a value as it stands in the file, shortened to some 60 characters.

    Parameters
    ----------
    value : object
        As TOML gives it.

    Returns
    -------
    str
        One line.
    """
    text = _as_toml(value)
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."


def _as_toml(value: object) -> str:
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{visible(str(key))} = {_as_toml(each)}" for key, each in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(_as_toml, value))}]"
    return f'"{visible(value)}"' if isinstance(value, str) else _bare(value)


def _bare(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    # Python prints no whole number of more than 4300 digits in decimals
    return hex(value) if isinstance(value, int) and value.bit_length() > _HUGE_BITS else str(value)


def visible(text: str) -> str:
    """
    Write characters that a terminal would not show, or would obey, as escapes.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        Printable.
    """
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text
    )
