"""A made-up wall of things, filmed by an exact camera: quick, and its light is known."""

import numpy as np

from lookkit.balance.gains import TO_CONES
from lookkit.media.stills import write_still
from lookkit.spaces.encodings import encoding

SIZE = (480, 270)

RECIPE = """
schema = 1
name = "Balanced"
show = "Pottery"
[cameras.A]
encoding = "ACEScct"
[outputs.web]
output = "sRGB"

[scenes.kiln]
light = 5600

# the second day
[[shots]]
match = "A*"                # all of camera A
camera = "A"
scene = "kiln"
"""


def wall(seed: int, size=(1200, 700)):
    """Return scene light of a wall with some hundred things on it, shape (h, w, 3)."""
    draw = np.random.default_rng(seed)
    wide, high = size
    row, column = np.mgrid[:high, :wide].astype(np.float32)
    light = np.full((high, wide, 3), 0.16, np.float32)
    for _ in range(260):
        x, y = draw.uniform(0, wide), draw.uniform(0, high)
        a, b = draw.uniform(8, 60, 2)
        turn = draw.uniform(0, np.pi)
        here = (slice(max(int(y) - 90, 0), int(y) + 90), slice(max(int(x) - 90, 0), int(x) + 90))
        across, down = column[here] - x, row[here] - y
        u = across * np.cos(turn) + down * np.sin(turn)
        v = down * np.cos(turn) - across * np.sin(turn)
        inside = (np.abs(u) < a) & (np.abs(v) < b) if draw.random() < 0.5 else (
            (u / a) ** 2 + (v / b) ** 2 < 1)  # fmt: skip
        light[here][inside] = draw.uniform(0.03, 0.6) * draw.uniform(0.6, 1.0, 3)
    return light * (1 + 0.03 * draw.standard_normal(light.shape, dtype=np.float32))


def framed(light, x: float, y: float, zoom: float = 1.0, turn: float = 0.0):
    """Return a framing of a wall about a place, 480x270."""
    import cv2

    frame = cv2.getRotationMatrix2D((x, y), turn, zoom)
    frame[:, 2] += np.array([SIZE[0] / 2 - x, SIZE[1] / 2 - y])
    return cv2.warpAffine(light, frame, SIZE, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def gained(light, gain):
    """Return light whose cones are multiplied by 2^gain."""
    back = np.linalg.inv(TO_CONES)
    return light @ (TO_CONES.T * 2.0 ** np.asarray(gain)) @ back.T


def code_of(light):
    return encoding("ACEScct").encode(np.asarray(light, np.float64)).astype(np.float32)


def shoot(folder, name, light, gain=(0.0, 0.0, 0.0)):
    """Write a still whose light is off by a gain."""
    path = folder / name
    write_still(path, code_of(gained(light, gain)), None, bits=16)
    return path
