"""Looks baked into .cube files, as they lie in other people's folders."""

from pathlib import Path

import numpy as np
import PyOpenColorIO as ocio

from lookkit.accuracy.sampling import grid
from lookkit.look import Look, loads
from lookkit.lutfile.cube import write_cube
from lookkit.spaces.encodings import encoding
from lookkit.spaces.working import AP1_TO_AP0

HEAD = """
schema = 1
name = "Known"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "V-Log"
[outputs.main]
output = "Rec.709 BT.1886"
"""
KNOWN = """
[[look]]
kind = "saturation"
saturation = 0.8
[rendering]
kind = "film-print"
contrast = 1.42
grey = 1.05
lights = [24.0, 25.0, 26.5]
"""


def known_look() -> Look:
    return loads(HEAD + KNOWN)


def bake_look(path: Path, look: Look, size: int = 33) -> Path:
    """Sample a look's graph for its camera A: nothing of the fitter is in that."""
    code = grid(size)
    signal = look.evaluate(code.reshape(-1, 3), camera="A", output="main")
    return bake(path, signal.reshape(code.shape))


def bake_builtins(path: Path, *styles: str, size: int = 33) -> Path:
    """Sample OpenColorIO's own transforms from ACES2065-1 to a display, for LogC4."""
    code = grid(size)
    light = encoding("LogC4").decode(code.reshape(-1, 3)) @ AP1_TO_AP0.T
    group = ocio.GroupTransform([ocio.BuiltinTransform(style=style) for style in styles])
    processor = ocio.Config.CreateRaw().getProcessor(group)
    pixels = np.ascontiguousarray(light, dtype=np.float32)
    processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS).applyRGB(pixels)
    return bake(path, np.clip(pixels, 0.0, 1.0).reshape(code.shape).astype(np.float64))


def bake(path: Path, lattice: np.ndarray) -> Path:
    write_cube(path, lattice, title="a look", comments=[])
    return path
