"""Movies with changed heads: refused in words, or decoded as far as they go."""

import tempfile
from functools import cache
from itertools import islice
from pathlib import Path

import numpy as np

from lookkit.errors import LookkitError
from lookkit.media.clip import described, frames_of, probe
from lookkit.media.movie import job_of_movie
from tests.fuzz.mutate import mutated
from tests.media.movies import av, noise, write_movie

NAME = "clips"
FORMS = (
    ("mov", "prores_ks", "yuv422p10le"), ("mkv", "ffv1", "yuv422p10le"),
    ("mp4", "libx264", "yuv420p10le"), ("avi", "ffv1", "yuv422p10le"),
    ("ts", "libx264", "yuv420p10le"), ("mxf", "dnxhd", "yuv422p10le"),
    ("mkv", "libx264", "yuv420p10le"), ("webm", "libvpx-vp9", "yuv420p"),
)  # fmt: skip


@cache
def seeds() -> dict[str, list[bytes]]:
    """Short movies by ending, with sound and words where they take them."""
    found: dict[str, list[bytes]] = {}
    with tempfile.TemporaryDirectory() as name:
        for ending, codec, form in FORMS:
            path = Path(name, f"x.{ending}")
            pictures = noise(4, 256, 128)
            if "420" in form:
                pictures = [[y, u[::2], v[::2]] for y, u, v in pictures]
            if form == "yuv420p":
                pictures = [[(plane >> 2).astype(np.uint8) for plane in f] for f in pictures]
            options = {"profile": "dnxhr_hqx"} if codec == "dnxhd" else {}
            write_movie(
                path, pictures, codec=codec, form=form, options=options,
                sound="pcm_s16le" if ending in ("mov", "mkv") else None,
                metadata={"title": "Kiln", "timecode": "01:02:03:04"},
            )  # fmt: skip
            found.setdefault(f".{ending}", []).append(path.read_bytes())
    return found


@cache
def _place() -> Path:
    memory = Path("/dev/shm")
    av.logging.set_level(None)
    return Path(tempfile.mkdtemp(prefix="lookkit-", dir=memory if memory.is_dir() else None))


def case(number: int) -> tuple[str, bytes]:
    """The ending and the bytes of a case; an index may stand at the end as well as in front."""
    endings = sorted(seeds())
    ending = endings[number % len(endings)]
    head = None if number % 3 == 0 else 1500
    return ending, mutated(seeds()[ending], number, head=head)


def read(number: int) -> None:
    """Read a case; raises what is a find."""
    ending, data = case(number)
    path = _place() / f"x{ending}"
    path.write_bytes(data)
    job_of_movie(path)
    named = True
    try:
        clip = probe(path)
        assert described(clip)
        frames = frames_of(clip)
        try:
            for _ in islice(frames, 4):
                pass
        finally:
            frames.close()
    except LookkitError as error:
        named = str(path) in str(error)
    assert named, "a message without the file"
