"""Pictures with changed heads: refused in words, or read."""

import io
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image

from lookkit.errors import LookkitError
from lookkit.media.jobs import _still_says
from lookkit.media.stills import FORMATS, read_still, write_still
from tests.fuzz.mutate import mutated

NAME = "pictures"


@cache
def seeds() -> dict[str, list[bytes]]:
    """Small pictures by ending."""
    pixels = np.random.default_rng(2).random((9, 13, 3), dtype=np.float32)
    found: dict[str, list[bytes]] = {}
    with tempfile.TemporaryDirectory() as name:
        for ending in FORMATS:
            path = Path(name, f"x{ending}")
            write_still(path, pixels, note="a note", interop_id="srgb_rec709_scene")
            found[ending] = [path.read_bytes()]
    for kind in ("bmp", "tga", "webp", "ppm", "sgi", "tiff", "png", "jpeg"):
        kept = io.BytesIO()
        exif = Image.Exif()
        exif[0x0112] = 6
        exif[0x010E] = "kiln"
        more = {"exif": exif} if kind in ("webp", "png", "jpeg", "tiff") else {}
        Image.fromarray((pixels * 255).astype(np.uint8)).save(kept, kind, **more)
        found.setdefault(f".{kind}", []).append(kept.getvalue())
    return found


@cache
def _place() -> Path:
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="lookkit-", dir=memory if memory.is_dir() else None))


def case(number: int) -> tuple[str, bytes]:
    """The ending and the bytes of a case."""
    endings = sorted(seeds())
    ending = endings[number % len(endings)]
    return ending, mutated(seeds()[ending], number, head=400)


def read(number: int) -> None:
    """Read a case; raises what is a find."""
    ending, data = case(number)
    path = _place() / f"x{ending}"
    path.write_bytes(data)
    try:
        tags, *_ = _still_says(path)
        assert isinstance(str(tags), str)
        still = read_still(path)
    except LookkitError as error:
        told = str(error)
        still = None
    if still is None:
        assert str(path) in told
        return
    assert still.pixels.ndim == 3
    assert still.pixels.shape[2] == 3
    assert still.depth in (8, 10, 12, 16)
