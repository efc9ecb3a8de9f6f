"""The one way in which linesim refuses its input."""


class InputError(ValueError):
    """
    Input that cannot be used; each fault is one sentence for the person at the keyboard.

    Parameters
    ----------
    *faults : str
        One sentence a fault: the key or file, what was read, what is expected.
    """

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults = faults
