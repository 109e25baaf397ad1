"""Set-up 3, the yard at blue hour: sky light, and one red tube beside the potter."""

from __future__ import annotations

import numpy as np

from pottery.chart import SceneChart, scene_chart
from pottery.figure import Person, face_of, potter
from pottery.noise import fractal, noise, roughen
from pottery.pots import pot
from pottery.render import Glow, Light, SetUp
from pottery.solids import (
    Points,
    Solid,
    Surface,
    box,
    limb,
    ramp,
    vec,
)
from pottery.spectra import Bench, black_body, daylight, low_sun, red_tube

BENCH = 0.90
TUBE_LOW, TUBE_HIGH = vec(0.47, 0.985, -0.22), vec(0.56, 1.735, -0.26)
TUBE_RADIUS = 0.0135
TUBE_GLOW = 0.42
WALL = -1.22
LAMPS = 5


def bench() -> Bench:
    """Return the lights of the yard and the white balance of each camera."""
    sources = {
        "dusk": daylight(15000, ozone=0.22),
        "teal": daylight(9500, ozone=0.10),
        "afterglow": 0.5 * low_sun(7) + 0.5 * daylight(7000),
        "window": black_body(2700.0),
        "tube": red_tube(),
    }
    preset = daylight(5600)
    return Bench(sources, {"A": preset, "B": preset, "C": preset})


def sky(d: Points) -> Glow:
    """Return the radiance of the dusk sky."""
    up = np.maximum(d[1], 0.0)
    west = np.exp(-(((np.arctan2(d[0], -d[2]) + 0.32) / 0.8) ** 2))
    q = np.stack([d[0] / (up + 0.12), np.zeros_like(up), d[2] / (up + 0.12)])
    cloud = ramp(0.2, 1.6, fractal(q, (1.1, 1, 4.0), 3, 31)) * ramp(0.02, 0.08, up)
    return {
        "dusk": (0.0065 + 0.0095 * np.exp(-up / 0.26)) * (1 - 0.35 * cloud),
        "teal": 0.019 * np.exp(-up / 0.13) * (0.5 + 0.5 * west) * (1 - 0.5 * cloud),
        "afterglow": 0.024 * np.exp(-up / 0.050) * west + 0.002 * cloud * west,
    }


def _skyline(d: Points) -> tuple[np.ndarray, np.ndarray]:
    """Return how much of each direction far roofs cover, and where a window shines."""
    away = np.maximum(-d[2], 1e-3)
    x, y = d[0] / away, d[1] / away
    along = np.stack([x * 6, np.zeros_like(x), np.zeros_like(x)])
    hill = 0.018 + 0.012 * noise(along, 1.0, 2) + 0.004 * noise(along, 6.0, 3)
    crowns = np.sqrt(np.clip(0.5 + 0.5 * noise(along, 9.0, 5), 0, 1)) + 0.12 * noise(along, 40.0, 6)
    top = hill + 0.030 * crowns * ramp(-0.24, -0.34, x)
    # a bottle kiln, waisted as they are
    h = np.clip((y + 0.02) / 0.235, 0, 1)
    half = 0.074 * (1 - h) ** 0.55 * (0.55 + 0.45 * np.cos(h * 2.6)) + 0.0165
    kiln = (np.abs(x + 0.115) < half) & (y < 0.205)
    kiln |= (np.abs(x + 0.115) < 0.0225) & (np.abs(y - 0.2) < 0.006)
    # a shed with a pitched roof and a stack
    shed = (y < 0.105 - 0.42 * np.abs(x - 0.085)) & (np.abs(x - 0.085) < 0.115)
    shed |= (np.abs(x - 0.142) < 0.010) & (y < 0.135)
    dark = np.maximum(ramp(0.0007, -0.0007, y - top), (kiln | shed).astype(np.float32))
    dark = dark * (d[2] < 0)
    pane = (np.abs(x - 0.045) < 0.0105) & (np.abs(y - 0.040) < 0.013)
    pane &= (np.abs(x - 0.045) > 0.0011) & (np.abs(y - 0.043) > 0.0012)
    return dark, (pane & (d[2] < 0)).astype(np.float32)


def backdrop(o: Points, d: Points) -> Glow:
    """Return sky over the skyline; the yard's ground below it."""
    glow = sky(d)
    dark, pane = _skyline(d)
    ground = ramp(0.004, -0.03, d[1])
    for name, veil in (("dusk", 0.0015), ("teal", 0.0006), ("afterglow", 0.0)):
        glow[name] = glow[name] * (1 - dark) * (1 - ground) + veil * np.maximum(dark, ground)
    glow["window"] = 0.30 * pane
    return glow


def ambient(p: Points, n: Points) -> Glow:
    """Return the light of the dome, and red thrown back by wall and bench."""
    up = 0.5 + 0.5 * n[1]
    west = np.clip(0.5 - 0.5 * n[2], 0, 1)
    middle = ((TUBE_LOW + TUBE_HIGH) / 2)[:, np.newaxis] - p
    near = 1.0 / (0.15 + (middle * middle).sum(axis=0))
    # the eave and the wall shut out the sky towards the right
    open_ = 0.20 + 0.80 * ramp(1.05, -0.55, p[0])
    left = 0.75 - 0.35 * n[0]
    return {
        "dusk": (0.125 * up + 0.040) * open_ * left,
        "teal": (0.035 * up + 0.060 * west * (0.4 + 0.6 * up)) * open_,
        "afterglow": 0.020 * west * open_,
        "tube": 0.0005 * near,
    }


def _boards(along: int, names: tuple[str, str], wide: float, wet: float):
    stretch = [30.0, 30.0, 30.0]
    stretch[along] = 3.0

    def paint(p: Points, n: Points) -> Surface:
        across = p[2] if along == 0 else p[0]
        board = np.floor(across / wide)
        pick = np.sin(board * 41.3 + 1) * 1000
        pick = pick - np.floor(pick)
        moved = p + np.stack([3.1 * pick, 0.7 * pick, 1.3 * pick])
        depth = np.clip(0.45 + 0.25 * fractal(moved, tuple(stretch), 3) + 0.4 * (pick - 0.5), 0, 1)
        seam = ramp(0.482, 0.492, np.abs(across / wide - board - 0.5))
        mix = np.stack([1 - depth, depth], axis=1) * (1 - 0.85 * seam)[:, np.newaxis]
        puddle = wet * ramp(-0.2, 0.5, fractal(p, 3.6, 3, 12)) * (n[1] > 0.5) * (1 - seam)
        rough = np.where(puddle > 0.25, 0.04, 0.22)
        bent = roughen(p, n, tuple(s * 2 for s in stretch), 0.05)
        bent = bent + (n - bent) * np.clip(puddle * 1.1, 0, 0.93)
        return Surface(
            names, mix * (1 - 0.3 * puddle)[:, np.newaxis], 0.25 + 0.75 * puddle, rough, bent
        )

    return paint


def _whitewash(p: Points, n: Points) -> Surface:
    stain = np.clip(0.30 + 0.22 * fractal(p, 3.0, 4, 7) + 0.45 * ramp(1.15, 0.6, p[1]), 0, 0.9)
    mix = np.stack([1 - stain, stain], axis=1)
    bent = roughen(p, roughen(p, n, 6, 0.14, 1), 40, 0.10, 4)
    return Surface(("plaster stain", "weathered"), mix, 0.0, 0.8, bent)


def _tube() -> list[Solid]:
    axis = (TUBE_HIGH - TUBE_LOW) / np.linalg.norm(TUBE_HIGH - TUBE_LOW)
    low, high = TUBE_LOW - axis * 0.05, TUBE_HIGH + axis * 0.05

    def reach(a: np.ndarray, b: np.ndarray, r: float) -> tuple[np.ndarray, np.ndarray]:
        return np.minimum(a, b) - r, np.maximum(a, b) + r

    def shining(p: Points, n: Points) -> Surface:
        surface = Surface(("paper",), np.ones((p.shape[1], 1)))
        along = ((p - TUBE_LOW[:, np.newaxis]) * axis[:, np.newaxis]).sum(axis=0)
        span = float(np.linalg.norm(TUBE_HIGH - TUBE_LOW))
        ends = ramp(-0.01, 0.03, along) * ramp(span + 0.01, span - 0.03, along)
        surface.glow = {"tube": TUBE_GLOW * (0.25 + 0.75 * ends)}
        return surface

    def metal(p: Points, n: Points) -> Surface:
        return Surface(("iron",), np.ones((p.shape[1], 1)), 0.6, 0.3)

    tube = Solid(
        "tube",
        lambda p: limb(p, TUBE_LOW, TUBE_HIGH, TUBE_RADIUS),
        *reach(TUBE_LOW, TUBE_HIGH, TUBE_RADIUS),
        shining,
        casts=False,
        closes=False,
    )

    def holder(p: Points) -> np.ndarray:
        d = np.minimum(limb(p, low, TUBE_LOW, 0.0165), limb(p, TUBE_HIGH, high, 0.0165))
        foot = vec(low[0], BENCH + 0.008, low[2])
        d = np.minimum(d, limb(p, low, foot, 0.010))
        return np.minimum(d, limb(p, foot - vec(0.07, 0, 0), foot + vec(0.07, 0, 0), 0.012))

    lowest = np.minimum(low, vec(low[0] - 0.09, BENCH, low[2]))
    ends = Solid("holder", holder, lowest - 0.02, high + vec(0.05, 0.02, 0.02), metal, casts=False)
    return [tube, ends]


def build() -> tuple[SetUp, SceneChart]:
    """Return the yard at blue hour and its chart."""
    plank = _boards(0, ("weathered", "oak dark"), 0.16, 1.0)
    solids: list[Solid] = [
        box("wall", (0.74, -0.2, WALL - 0.5), (4.0, 3.5, WALL), _whitewash, casts=False),
        box("bench", (-2.2, BENCH - 0.05, -0.30), (2.4, BENCH, 1.25), plank, casts=False),
        box(
            "shelf",
            (0.80, 1.290, WALL),
            (2.2, 1.318, WALL + 0.24),
            _boards(0, ("oak", "oak dark"), 0.13, 0.0),
        ),
        box(
            "bracket",
            (0.86, 1.17, WALL),
            (0.89, 1.29, WALL + 0.18),
            _boards(1, ("oak", "oak dark"), 0.13, 0.0),
        ),
        *_tube(),
    ]
    shelf = [
        ("jar", 0.20, 0.93, "ash white"),
        ("vase", 0.26, 1.13, "cobalt"),
        ("moon", 0.20, 1.35, "celadon"),
        ("bottle", 0.24, 1.56, "iron red"),
    ]
    for k, (shape, tall, x, glaze) in enumerate(shelf):
        solids.append(pot(shape, tall, (x, 1.318, WALL + 0.125), glaze, 50 + k))
    table = [
        ("moon", 0.215, (0.215, BENCH, -0.13), "ash white", 61),
        ("bottle", 0.27, (0.83, BENCH, -0.05), "celadon", 62),
        ("jar", 0.25, (1.12, BENCH, 0.10), "cobalt", 63),
        ("cup", 0.105, (0.64, BENCH, 0.28), "ash white", 64),
        ("bowl", 0.09, (0.22, BENCH, 0.46), "celadon", 65),
        ("cup", 0.10, (0.93, BENCH, 0.42), "tenmoku", 66),
        ("vase", 0.27, (-1.06, BENCH, 0.10), "iron red", 67),
        ("jar", 0.20, (-0.10, BENCH, 0.26), "honey", 69),
    ]
    solids += [pot(s, h, at, g, k) for s, h, at, g, k in table]
    hold = np.array([-0.155, 1.135, -0.165])
    solids.append(pot("cup", 0.10, (hold[0], hold[1] - 0.045, hold[2]), "ash white", 71))
    person = Person(
        neck=(-0.265, 1.335, -0.47),
        yaw=20,
        head_yaw=38,
        head_pitch=9,
        skin="skin fair",
        shirt="indigo cloth",
        scarf="ochre cloth",
        hands=(tuple(hold + vec(-0.085, 0.0, -0.035)), tuple(hold + vec(0.062, 0.0, -0.045))),
        elbows=0.34,
    )
    solids += potter(person)
    chart = scene_chart((-0.66, BENCH + 0.002, 0.16), 0.28, yaw=7, pitch=13)
    solids.append(chart.solid)

    lights = []
    for k in range(LAMPS):
        share = (k + 0.5) / LAMPS
        at = TUBE_LOW + (TUBE_HIGH - TUBE_LOW) * share
        lights.append(Light("tube", at, 0.026 / LAMPS, 0.05))
    setup = SetUp(
        name="blue-hour",
        bench=bench(),
        eye=vec(0.10, 1.46, 2.45),
        target=vec(0.10, 1.335, 0.0),
        fov=29.5,
        solids=solids,
        lights=lights,
        ambient=ambient,
        backdrop=backdrop,
        exposure=0.0,
        focus=2.85,
        softness=6.0,
        grey_points=chart.grey,
        points={
            "face": face_of(person),
            "tube": (TUBE_LOW + TUBE_HIGH) / 2,
            "sky": vec(-1.6, 2.05, -4.0),
            "wall": vec(1.05, 1.75, WALL),
            "shade": vec(-1.30, 1.30, -4.0),
        },
    )
    return setup, chart
