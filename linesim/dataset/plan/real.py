"""
Real scans of good product that faults are put into.

```toml
[background]
images = "good/*.tif"           # as the camera delivered them: all columns, any number of lines
images_each = 8
```
"""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from linesim.dataset.plan.named_files import files_named
from linesim.dataset.plan.tables import BACKGROUND, TableReader
from linesim.dataset.scenes import SCANS, Scenes
from linesim.setup.shown import shown

_APART = {
    "scenes": "images are taken from scans",
    "vary": "the scans were taken by one station",
    "nuisances": "what lies on real product is in its scans",
}


def real_scenes(
    texts: Mapping[str, Any], drawn: Scenes, folder: Path, reader: TableReader
) -> Scenes:
    """Take scans as scenes, where a plan names any."""
    if "background" not in texts:
        return drawn
    table = texts["background"]
    reader.faults.extend(
        f"{name}: read {shown(texts[name])}, but {why}; expected none of it beside [background]"
        for name, why in _APART.items()
        if texts.get(name)
    )
    named = dict(table) if isinstance(table, Mapping) else table
    images = named.pop("images", None) if isinstance(named, dict) else None
    found = reader.read("background", named, BACKGROUND)
    paths = files_named("background.images", images, folder, reader.faults)
    return replace(drawn, kind=SCANS, files=paths, count=len(paths), **found)
