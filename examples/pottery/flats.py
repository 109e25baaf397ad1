"""Set-up 2, the tidal flats: the sun a hand above the sea, everything near in its own shade."""

from __future__ import annotations

import numpy as np

from pottery.chart import SceneChart, scene_chart
from pottery.figure import walker
from pottery.noise import fractal, noise, roughen
from pottery.pots import pot
from pottery.render import Glow, Light, SetUp
from pottery.solids import (
    Points,
    Solid,
    Surface,
    block,
    box,
    carve,
    dot,
    ellipsoid,
    join,
    limb,
    placed,
    ramp,
    turned,
    unit,
    vec,
)
from pottery.spectra import Bench, daylight, low_sun

SUN = unit(vec(-0.172, 0.052, -1.0))
SUN_RADIUS = 0.0125
"""Radians; more than twice the true sun, as a long lens shows it."""
EYE = vec(0.0, 0.95, 0.0)


def bench() -> Bench:
    """Return the lights of the shore and the white balance of each camera."""
    sources = {
        "sky": daylight(18000, ozone=0.35),
        "rose": 0.40 * daylight(9000) + 0.60 * low_sun(9),
        "haze": 0.4 * daylight(6000) + 0.6 * low_sun(5),
        "amber": low_sun(8.5),
        "gold": low_sun(9.5),
        "sun": low_sun(10.5),
    }
    preset = daylight(5600)
    return Bench(sources, {"A": preset, "B": preset, "C": preset})


def sky(d: Points) -> Glow:
    """Return the radiance of the sky in each direction; below the horizon, its mirror."""
    up = np.abs(d[1])
    away = np.arccos(np.clip(dot(d, SUN[:, np.newaxis]), -1, 1))
    side = np.arctan2(d[0], -d[2]) - np.arctan2(SUN[0], -SUN[2])
    side = (side + np.pi) % (2 * np.pi) - np.pi
    facing = np.exp(-((side / 0.55) ** 2))
    low = np.exp(-up / 0.10)
    glow = {
        "sky": 0.125 * ramp(-0.02, 0.34, up) + 0.018,
        "rose": 0.050 * np.exp(-(((up - 0.17) / 0.10) ** 2)) + 0.05 * (1 - facing) * low,
        "haze": 0.060 * np.exp(-up / 0.20) * (0.45 + 0.55 * facing),
        "amber": 0.26 * low * (0.20 + 0.80 * facing),
        "gold": 0.42 * np.exp(-away / 0.16) + 2.6 * np.exp(-away / 0.032),
    }
    # clouds: a high sheet seen along its underside, lit from below near the sun
    reach = 1.0 / (up + 0.045)
    sheet = np.stack([d[0] * reach, np.zeros_like(up), d[2] * reach])
    sheet = sheet + np.stack([noise(sheet, 0.9, 4), np.zeros_like(up), noise(sheet, 0.9, 5)]) * 0.3
    body = fractal(sheet, (1.05, 1.0, 3.4), 4, 2)
    cover = ramp(0.05, 1.3, body) * ramp(0.035, 0.09, up) * ramp(0.6, 0.25, up)
    lining = cover * (1 - cover) * 4
    for name, share in (("sky", 0.35), ("rose", 0.55), ("haze", 0.7), ("amber", 0.55)):
        glow[name] = glow[name] * (1 - share * cover)
    fire = np.exp(-away / 0.22)
    glow["amber"] = glow["amber"] + lining * (0.035 + 0.45 * fire)
    glow["gold"] = glow["gold"] + lining * 0.7 * fire
    glow["rose"] = glow["rose"] + 0.028 * cover
    disc = np.clip(1 - (away / SUN_RADIUS) ** 2, 0, 1)
    edge = ramp(1.03, 0.97, away / SUN_RADIUS)
    glow["sun"] = edge * (16.0 + 34.0 * np.sqrt(disc))
    return glow


def _far(d: Points) -> np.ndarray:
    """Return how much of each direction a low headland covers."""
    side = d[0] / np.maximum(-d[2], 1e-3)
    along = np.stack([side * 30, np.zeros_like(side), np.zeros_like(side)])
    rise = 0.012 * ramp(-0.02, 0.42, side) + 0.012 * ramp(0.20, 0.30, side)
    rise = rise + 0.0016 * noise(along, 1.3, 1) * ramp(-0.02, 0.1, side)
    rise = rise + 0.0008 * noise(along, 7.0, 2) * ramp(0.05, 0.2, side)
    return ramp(0.0006, -0.0006, np.abs(d[1]) - rise) * (d[2] < 0)


def backdrop(o: Points, d: Points) -> Glow:
    """Return sky, headland and, below the horizon, the far water."""
    glow = sky(d)
    land = _far(d)
    veil = {"haze": 0.02, "amber": 0.035, "rose": 0.02, "sky": 0.022}
    for name in glow:
        glow[name] = glow[name] * (1 - land) + veil.get(name, 0.0) * land
    return glow


def ambient(p: Points, n: Points) -> Glow:
    """Return the light of the whole sky and of the sand below on a facing."""
    up = 0.5 + 0.5 * n[1]
    west = np.clip(0.5 - 0.5 * n[2] - 0.1 * n[0], 0, 1)
    return {
        "sky": 0.20 * up + 0.07,
        "rose": 0.10 * (1 - west) + 0.03 * up,
        "haze": 0.18 * west * (0.4 + 0.6 * up) + 0.025,
        "amber": 0.34 * west**2 * (0.5 + 0.5 * up),
    }


def _pools(p: Points) -> np.ndarray:
    """Return where water stands on the sand: 0 damp, 1 a pool."""
    form = fractal(p, (0.55, 1.0, 1.25), 3, 3) + 0.5 * noise(p, (2.0, 1.0, 5.0), 8)
    far = np.clip((-p[2] - 5.0) / 26.0, 0, 1)
    return ramp(-0.10, 0.26, form + 1.3 * far - 0.28)


def _sand(p: Points, n: Points) -> Surface:
    water = _pools(p)
    gone = np.sqrt((p[0] - EYE[0]) ** 2 + p[2] ** 2)
    near = 1.0 / (1.0 + (gone / 7.0) ** 2)
    bend = p + np.stack([np.zeros_like(water), np.zeros_like(water), 0.14 * noise(p, 1.7, 6)])
    phase = bend[2] * 52 + 5.0 * noise(p, 0.9, 7)
    dry = 1 - water
    slope_z = 0.24 * np.cos(phase) * dry * near + 0.012 * noise(p, 5, 9) * water
    slope_x = 0.10 * noise(p, 9, 10) * dry * near + 0.006 * noise(p, 5, 12) * water
    grain = 0.05 * dry * near
    bent = np.stack(
        [
            slope_x + grain * noise(p, 160, 13),
            np.ones_like(water),
            slope_z + grain * noise(p, 160, 14),
        ]
    )
    crest = 0.5 + 0.5 * np.sin(phase)
    damp = np.clip(dry * (0.45 + 0.4 * crest) + 0.12 * fractal(p, 3, 2), 0, 1)
    weed = ramp(1.3, 1.8, fractal(p, (2.3, 1, 3.6), 2, 20)) * dry * 0.5
    mix = np.stack([(1 - damp) * (1 - weed), damp * (1 - weed), weed], axis=1)
    coat = 0.30 * dry + 1.0 * water
    return Surface(
        ("sand wet", "sand damp", "weed"), mix, coat, np.where(water > 0.03, 0.03, 0.16), unit(bent)
    )


def _wood(name: str, dark: str, grain: tuple[float, float, float]):
    def paint(p: Points, n: Points) -> Surface:
        depth = np.clip(0.45 + 0.28 * fractal(p, grain, 3), 0, 1)
        mix = np.stack([1 - depth, depth], axis=1)
        return Surface((name, dark), mix, 0.15, 0.45, roughen(p, n, grain, 0.16))

    return paint


def _boat(at: tuple[float, float, float], yaw: float, roll: float) -> list[Solid]:
    turn = turned(yaw, roll, 0.0)

    def hull(p: Points) -> np.ndarray:
        full = ellipsoid(p, (0, 0.60, 0), (2.05, 0.62, 0.70))
        hollow = ellipsoid(p, (0, 0.66, 0), (1.93, 0.58, 0.61))
        sheer = p[1] - 0.56 - 0.055 * p[0] * p[0]
        shell = np.maximum(carve(full, hollow, 0.01), sheer)
        keel = limb(p, (-1.25, 0.045, 0), (1.35, 0.045, 0), 0.035)
        stem = limb(p, (1.60, 0.20, 0), (2.06, 0.86, 0), 0.032)
        shell = np.minimum(np.minimum(shell, keel), stem)
        for x in (-0.75, 0.25, 1.05):
            q = p - vec(x, 0.47 + 0.03 * abs(x), 0)[:, np.newaxis]
            thwart = np.maximum(block(q, (0.10, 0.016, 0.66)), full)
            shell = np.minimum(shell, thwart)
        return shell

    def paint(p: Points, n: Points) -> Surface:
        top = 0.50 + 0.055 * p[0] * p[0]
        outer = (n[2] * p[2] > -0.02) & (p[1] < top + 0.05)
        line = top - p[1]
        worn = np.clip(0.25 + 0.25 * fractal(p, (4, 12, 4), 3, 1), 0, 0.9)
        white = ramp(0.13, 0.12, line) * outer
        blue = (1 - white) * outer
        low = ramp(0.30, 0.12, p[1] + 0.05 * noise(p, 6)) * outer
        wood = 1.0 - white - blue
        mix = np.stack(
            [
                white * (1 - 0.6 * worn),
                blue * (1 - low) * (1 - worn),
                blue * low * 0.5,
                wood + blue * worn * (1 - low) * 0.6 + white * worn * 0.4,
                blue * low * 0.5 + 0.2 * white * worn + blue * worn * (1 - low) * 0.4,
            ],
            axis=1,
        )
        plank = np.abs((line / 0.105) % 1.0 - 0.5)
        mix = mix * (1 - 0.75 * ramp(0.46, 0.49, plank) * outer)[:, np.newaxis]
        names = ("hull white", "hull blue", "weed", "weathered", "rust")
        return Surface(names, mix, 0.3, 0.3, roughen(p, n, 14, 0.08))

    def mast(p: Points) -> np.ndarray:
        pole = limb(p, (0.55, 0.1, 0), (0.42, 2.75, 0), 0.042, 0.026)
        yard = limb(p, (-0.55, 1.30, 0.10), (1.35, 2.35, 0.10), 0.045, 0.038)
        sail = limb(p, (-0.45, 1.33, 0.12), (1.25, 2.27, 0.12), 0.075, 0.055)
        return join(np.minimum(pole, yard), sail + 0.012 * np.sin(p[0] * 26), 0.02)

    def rope(p: Points) -> np.ndarray:
        line = limb(p, (0.42, 2.72, 0), (2.04, 0.86, 0), 0.006)
        return np.minimum(line, limb(p, (0.42, 2.72, 0), (-1.9, 0.78, 0), 0.006))

    def rig(p: Points, n: Points) -> Surface:
        cloth = ramp(0.055, 0.06, np.abs(p[2] - 0.0)) * (p[1] > 1.2)
        mix = np.stack([1 - cloth, cloth], axis=1)
        return Surface(("weathered", "madder cloth"), mix, 0.1, 0.6, roughen(p, n, 18, 0.2))

    reach = ((-2.1, -0.02, -0.75), (2.12, 0.95, 0.75))
    return [
        placed("boat", hull, reach, at, turn, paint, slack=0.8),
        placed("mast", mast, ((-0.7, 0.05, -0.1), (1.5, 2.8, 0.22)), at, turn, rig, slack=0.9),
        placed("rope", rope, ((-2, 0.7, -0.02), (2.1, 2.8, 0.02)), at, turn, rig),
    ]


def build() -> tuple[SetUp, SceneChart]:
    """Return the tidal flats and their chart."""
    wood = _wood("weathered", "oak dark", (3.0, 26.0, 26.0))
    solids: list[Solid] = [
        box("sand", (-900, -1, -900), (900, 0, 6), _sand, casts=False),
        box("plank", (-0.42, 0.125, -4.02), (1.46, 0.165, -3.66), wood),
        box(
            "block", (-0.30, -0.02, -3.98), (-0.10, 0.125, -3.70), _wood("slate", "soot", (9,) * 3)
        ),
        box("block", (1.12, -0.02, -3.98), (1.34, 0.125, -3.70), _wood("slate", "soot", (9,) * 3)),
        *_boat((2.05, -0.03, -12.2), 18, 9),
    ]
    board = 0.165
    for k, (shape, tall, x, z, glaze) in enumerate(
        [
            ("jar", 0.31, 0.36, -3.86, "honey"),
            ("vase", 0.33, 0.63, -3.84, "iron red"),
            ("cup", 0.11, 0.81, -3.74, "ash white"),
            ("moon", 0.25, 0.99, -3.87, "celadon"),
            ("bottle", 0.31, 1.22, -3.84, "cobalt"),
            ("cup", 0.12, 1.37, -3.76, "tenmoku"),
        ]
    ):
        solids.append(pot(shape, tall, (x, board, z), glaze, 3 + k))
    solids.append(pot("jar", 0.40, (-1.02, -0.01, -4.35), "tenmoku", 12))
    solids.append(pot("bowl", 0.13, (-0.70, -0.005, -4.02), "ash white", 14, tilt=4))
    solids.append(pot("bowl", 0.12, (1.30, -0.005, -3.42), "copper green", 16))
    yaw = 64.0
    foot = vec(-0.98, 0.0, -8.9)
    solids += walker(tuple(foot), yaw, 1.72, "ochre cloth", "skin deep")
    jar = foot + turned(yaw) @ vec(0.0, 0.90, 0.30)
    solids.append(pot("jar", 0.36, tuple(jar), "raw", 18))
    chart = scene_chart((-0.12, board + 0.001, -3.74), 0.36, yaw=3, pitch=10)
    solids.append(chart.solid)
    lights = [Light("sun", SUN * 800, 1.5 * 800.0**2, 800 * SUN_RADIUS)]
    setup = SetUp(
        name="flats",
        bench=bench(),
        eye=EYE,
        target=vec(0.0, 0.95 - 0.047, -1.0),
        fov=27.0,
        solids=solids,
        lights=lights,
        ambient=ambient,
        backdrop=backdrop,
        exposure=-1.25,
        focus=4.2,
        softness=1.8,
        grey_points=chart.grey,
        points={
            "sun": EYE + 100 * SUN,
            "sun edge": EYE + 100 * (SUN + vec(0, 0.9 * SUN_RADIUS, 0)),
            "sky": EYE + vec(-30, 21, -100),
            "sky at the horizon": EYE + vec(-3, 2.2, -100),
            "figure": foot + vec(0.02, 0.75, 0.0),
            "hull": vec(2.05, 0.32, -11.55),
            "shade": vec(1.19, 0.06, -3.70),
        },
    )
    return setup, chart
