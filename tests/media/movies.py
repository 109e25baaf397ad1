"""Movies made for the tests, and FFmpeg's own reading of them."""

from fractions import Fraction

import numpy as np
import pytest

from lookkit.look import Look
from lookkit.media.clip import planes_of
from lookkit.recipe.load import parse_recipe

av = pytest.importorskip("av", reason="clips need PyAV")

RECIPE = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "HLG camera"
[cameras.C]
encoding = "BT.709 camera"
[rendering]
kind = "film-print"
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.hdr]
output = "Rec.2100 PQ 1000"
"""


def made_look(text=RECIPE):
    return Look(parse_recipe(text), text)


def write_movie(
    path, frames, *, codec="ffv1", form="yuv422p10le", rate=24, tags=(1, 1, 1), full=False,
    options=None, metadata=None, times=None, sound=None, prepare=None,
):  # fmt: skip
    """Write planes (lists of three integer arrays) as they are."""
    with av.open(str(path), "w", options={"fflags": "+bitexact"}) as out:
        out.metadata.update(metadata or {})
        height, width = frames[0][0].shape
        stream = out.add_stream(codec, rate=rate, options=options or {})
        stream.width, stream.height, stream.pix_fmt = width, height, form
        context = stream.codec_context
        context.time_base = 1 / Fraction(rate)
        context.color_primaries, context.color_trc, context.colorspace = tags
        context.color_range = 2 if full else 1
        tone = out.add_stream(sound, rate=48000) if sound else None
        if prepare:
            prepare(stream)
        for number, planes in enumerate(frames):
            picture = av.VideoFrame(width, height, form)
            for plane, values in zip(picture.planes, planes, strict=True):
                kind = np.uint8 if picture.format.components[0].bits == 8 else np.uint16
                rows = np.frombuffer(plane, kind).reshape(plane.height, -1)
                rows[:, : values.shape[1]] = values
            picture.pts = number if times is None else times[number]
            picture.time_base = 1 / Fraction(rate)
            picture.color_range = 2 if full else 1
            picture.color_primaries, picture.color_trc, picture.colorspace = tags
            out.mux(stream.encode(picture))
        out.mux(stream.encode(None))
        if tone is not None:
            samples = np.zeros((1, 2 * 48000), np.int16)
            frame = av.AudioFrame.from_ndarray(samples, format="s16", layout="stereo")
            frame.sample_rate = 48000
            convert = av.AudioResampler(tone.codec_context.format.name, "stereo", 48000)
            for part in convert.resample(frame):
                out.mux(tone.encode(part))
            out.mux(tone.encode(None))


def flat(codes, width=64, height=32, form="yuv422p10le", kind=np.uint16):
    """One colour in three planes."""
    across = 1 if "444" in form or form.startswith("gbr") else 2
    down = 2 if "420" in form else 1
    sizes = [(height, width), *[(height // down, width // across)] * 2]
    return [np.full(size, code, kind) for size, code in zip(sizes, codes, strict=True)]


def noise(count, width=64, height=32, seed=0, form="yuv422p10le"):
    """Smooth changing colours with noise: pictures that codecs do not skip."""
    random = np.random.default_rng(seed)
    frames = []
    for number in range(count):
        x = np.linspace(0, 6, width)[None] + np.linspace(0, 3, height)[:, None] + number / 5
        y = 400 + 200 * np.sin(x) + random.normal(0, 5, x.shape)
        across = 1 if "444" in form else 2
        chroma = [512 + 60 * np.cos(x[:, ::across] * k) for k in (1, 2)]
        frames.append([plane.astype(np.uint16) for plane in (y, *chroma)])
    return frames


def decoded(path):
    """All frames of a movie, as FFmpeg decodes them."""
    with av.open(str(path)) as container:
        return list(container.decode(container.streams.best("video")))


def planes(picture):
    """The planes of a frame without padding, as integers."""
    kind = np.uint8 if picture.format.components[0].bits == 8 else np.uint16
    return [
        np.frombuffer(p, kind).reshape(p.height, -1)[:, : p.width].astype(np.int64)
        for p in picture.planes
    ]


__all__ = ["RECIPE", "av", "decoded", "flat", "made_look", "noise", "planes", "planes_of",
           "write_movie"]  # fmt: skip
