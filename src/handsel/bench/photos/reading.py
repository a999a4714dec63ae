"""Reads the square codes in one upload, in a process of its own, as bounded as the one that develops.

    python -m handsel.bench.photos.reading KIND RAW

No picture is written; one line of JSON says the texts, or why the upload was refused.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from handsel.bench.photos.developing import (
    LONG_SIDE_PX,
    check_size,
    in_plain_mode,
    on_white,
    opened,
    shrunk,
    tell,
    unreadable_refused,
)


def texts(kind: str, source: Path) -> dict[str, Any]:
    """What the square codes in it say."""
    import numpy as np
    from PIL import Image

    from handsel.vision.squares import square_texts

    Image.MAX_IMAGE_PIXELS = None  # as in developing
    with unreadable_refused():
        image = opened(kind, source)
        check_size(image.size)
        image.load()
        grey = on_white(in_plain_mode(shrunk(image, LONG_SIDE_PX))).convert("L")
    return {"texts": list(square_texts(np.asarray(grey)))}


if __name__ == "__main__":
    tell(lambda: texts(sys.argv[1], Path(sys.argv[2])))
