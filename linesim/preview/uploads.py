"""Images that people bring: decoded once, held in memory, bounded in bytes and pixels."""

from dataclasses import dataclass
from pathlib import Path, PurePath, PureWindowsPath
from tempfile import TemporaryDirectory

from linesim.files.folders import ENDINGS
from linesim.files.images_in import read_image
from linesim.files.srgb import Encoding
from linesim.preview.unpacking import refuse_bomb
from linesim.setup.arrays import ImageArray
from linesim.setup.errors import refuse

MOST_BYTES = 64_000_000
MOST_PIXELS = 24_000_000
"""Of an own image: 6000 x 4000. In colour it takes 290 MB while it is held."""
_MOST_UNPACKED_BYTES = 9 * MOST_PIXELS
"""Eight bytes are the most that a pixel of a PNG file takes, and each row has one more."""
_MOST_HELD = 2
_LONGEST_NAME = 80


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Upload:
    """An image that was brought to the page."""

    name: str  # its file's own name, for the setup that is written
    encoding: Encoding  # what its codes stand for
    data: ImageArray  # shape (rows, columns) or (rows, columns, 3); linear values from 0 to 1
    cautions: tuple[str, ...]  # what reading it gave to mind


def decoded(body: bytes, name: str, encoding: Encoding) -> Upload:
    """Decode an image that came over the wire."""
    plain = _plain_name(name)
    refuse_bomb(body, _MOST_UNPACKED_BYTES, plain)
    # the readers take files: it lies in a folder of its own while it is decoded, and no longer
    with TemporaryDirectory(prefix="linesim-") as folder:
        file = Path(folder) / "image"
        file.write_bytes(body)
        found = read_image(
            file, encoding=encoding, key="own image", max_pixels=MOST_PIXELS, written=plain
        )
    return Upload(name=plain, encoding=encoding, data=found.data, cautions=found.cautions)


def _plain_name(name: str) -> str:
    """Keep a file's name alone, printable, with an ending that a setup takes for an image."""
    last = PureWindowsPath(PurePath(name).name).name
    printable = "".join(sign for sign in last if sign.isprintable() and sign not in '"<>|*?:')
    stem, ending = PurePath(printable).stem.strip(". "), PurePath(printable).suffix
    return (stem or "image")[:_LONGEST_NAME] + (ending if ending.lower() in ENDINGS else ".png")


class Uploads:
    """The last few images; older ones are let go, so that memory stays bounded."""

    def __init__(self) -> None:
        self._held: dict[str, Upload] = {}
        self._count = 0

    def add(self, upload: Upload) -> str:
        """Hold an image; give the word by which it is asked for."""
        self._count += 1
        word = f"upload-{self._count}"
        self._held = dict([*self._held.items(), (word, upload)][-_MOST_HELD:])
        return word

    def get(self, word: str) -> Upload:
        """Give an image; an ``InputError`` says that it is not held here."""
        if word not in self._held:
            refuse(
                f'own image: read "{word[:40]}", but no such image is held here; images are held '
                "while the preview runs, the last two of them: choose the file again"
            )
        return self._held[word]

    def names(self) -> dict[str, str]:
        """List what is held: word -> file name."""
        return {word: each.name for word, each in self._held.items()}
