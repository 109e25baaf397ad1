"""Set-up 1, the kiln room: one tungsten lamp over the table, and the mouth of the kiln."""

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
    block,
    box,
    carve,
    ellipsoid,
    limb,
    placed,
    ramp,
    vec,
)
from pottery.spectra import Bench, black_body, reflectances, unit_luminance

LAMP = vec(0.42, 1.725, 0.40)
MOUTH = (-0.92, 1.02, -1.22)
"""Middle of the kiln's arch at the sill of its front."""
MOUTH_WIDE, MOUTH_TALL = 0.52, 0.60
TABLE = 0.90


def bench() -> Bench:
    """Return the lights of the kiln room and the white balance of each camera."""
    lamp = black_body(3000.0)
    surfaces = reflectances()
    tungsten = black_body(3200.0)
    sources = {
        "lamp": lamp,
        "lamp off wood": unit_luminance(lamp * surfaces["oak"] * surfaces["plaster"]),
        "kiln": black_body(1500.0),
        "kiln deep": black_body(1620.0),
        "kiln dim": black_body(1250.0),
        "kiln off brick": unit_luminance(black_body(1500.0) * surfaces["brick pale"]),
    }
    return Bench(sources, {"A": tungsten, "B": tungsten, "C": tungsten})


def _arch(p: Points) -> np.ndarray:
    """Return the distance to the arched tunnel, from points about the sill's middle."""
    half = MOUTH_WIDE / 2
    spring = MOUTH_TALL - half
    q = np.abs(p[0])
    above = np.maximum(p[1] - spring, 0)
    d = np.sqrt(q * q + above * above) - half
    return np.maximum(d, -p[1])


def _brick_paint(p: Points, n: Points) -> Surface:
    """Return running bond with pale joints, sooted above the mouth, glowing inside it."""
    local = p - vec(*MOUTH)[:, np.newaxis]
    along = np.where(np.abs(n[2]) > 0.5, p[0], p[2])
    course = p[1] / 0.076
    row = np.floor(course)
    column = along / 0.235 + 0.5 * (row % 2)
    ring_d = _arch(local)
    arch = (ring_d < 0.13) & (local[1] > 0) & (n[2] > 0.5)
    angle = np.arctan2(local[1] - (MOUTH_TALL - MOUTH_WIDE / 2), local[0])
    column = np.where(arch, angle * 5.6, column)
    row = np.where(arch, 77, row)
    course = np.where(arch, np.where(local[1] > MOUTH_TALL - MOUTH_WIDE / 2, 0.5, course), course)
    column = np.where(arch & (local[1] < MOUTH_TALL - MOUTH_WIDE / 2), 0.5, column)
    fx = np.minimum(column - np.floor(column), 1 - column + np.floor(column)) * 0.235
    fy = np.minimum(course - np.floor(course), 1 - course + np.floor(course)) * 0.076
    wobble = 0.0025 * noise(p, 60)
    joint = ramp(0.0085, 0.0045, np.minimum(fx, fy) + wobble)
    pick = np.sin(np.floor(column) * 12.9898 + row * 78.233) * 43758.5453
    pick = pick - np.floor(pick)
    pale = np.clip(0.25 + 0.75 * (pick - 0.3) + 0.15 * fractal(p, 30, 3), 0, 1)
    soot = np.exp(-np.maximum(ring_d, 0) / 0.16) * ramp(0.0, 0.5, local[1])
    soot = np.clip(soot * (0.85 + 0.2 * fractal(p, 9, 3, 5)) + 0.10 * pick, 0, 0.93)
    mix = np.stack(
        [
            (1 - joint) * pale * (1 - soot),
            (1 - joint) * (1 - pale) * (1 - soot),
            joint * (1 - soot),
            soot,
        ],
        axis=1,
    )
    surface = Surface(("brick pale", "brick", "mortar", "soot"), mix, 0.05, 0.8)
    edge = roughen(p, n, 55, 0.16)
    surface.normal = edge
    inside = (local[2] < -0.012) & (ring_d < 0.03)
    deep = ramp(0.0, -0.75, local[2]) * inside
    flicker = np.clip(1 + 0.22 * fractal(p, 13, 3, 9), 0.4, 1.8)
    surface.glow = {
        "kiln": 0.62 * flicker * deep + 0.10 * inside * ramp(0.02, -0.12, local[2]),
        "kiln deep": 1.9 * deep**3 * flicker,
        "kiln dim": 0.10 * inside,
    }
    return surface


def _kiln() -> list[Solid]:
    mouth = vec(*MOUTH)[:, np.newaxis]
    low, high = vec(-2.35, -0.1, -2.6), vec(-0.40, 2.5, -1.22)
    middle, half = ((low + high) / 2)[:, np.newaxis], (high - low) / 2

    def front(p: Points) -> np.ndarray:
        q = p - mouth
        tunnel = np.maximum(_arch(q), np.maximum(-q[2] - 1.05, q[2] - 0.2))
        return carve(block(p - middle, half, 0.02), tunnel, 0.012)

    solids = [Solid("kiln", front, low, high, _brick_paint, slack=0.9)]
    for k, (x, z, shape, tall) in enumerate(
        [
            (-0.13, -0.34, "vase", 0.30),
            (0.07, -0.42, "jar", 0.22),
            (-0.02, -0.20, "cup", 0.11),
            (0.17, -0.27, "cup", 0.13),
        ]
    ):

        def hot(p: Points, n: Points) -> Glow:
            back = np.clip(0.5 - 0.5 * n[2], 0, 1)
            return {"kiln": 0.16 + 0.7 * back, "kiln dim": np.full_like(back, 0.12)}

        foot = (MOUTH[0] + x, MOUTH[1] - 0.005, MOUTH[2] + z)
        solids.append(pot(shape, tall, foot, "raw", 40 + k, glow=hot))
    # the sill, and loose bricks of the door
    solids.append(box("sill", (-1.28, 0.965, -1.24), (-0.56, 1.018, -1.10), _brick_paint))
    return solids


def _wood(along: int, dark: float = 0.3, wet: float = 0.25):
    """Return paint for boards whose grain runs along axis 0, 1 or 2."""
    stretch = [34.0, 34.0, 34.0]
    stretch[along] = 3.0

    def paint(p: Points, n: Points) -> Surface:
        across = p[2] if along == 0 else p[0]
        board = np.floor(across / 0.145)
        pick = np.sin(board * 41.3) * 1000
        pick = pick - np.floor(pick)
        shifted = p + np.stack([3.1 * pick, 0.7 * pick, 1.3 * pick])
        bend = 5 * fractal(shifted, 3.5, 2, 9) + 2.6 * fractal(shifted, tuple(stretch), 2)
        rings = np.sin(60 * across + bend)
        fibre = fractal(shifted, tuple(s * 3.2 for s in stretch), 2, 5)
        gap = np.abs(across / 0.145 - board - 0.5)
        seam = ramp(0.484, 0.494, gap)
        depth = np.clip(dark + 0.24 * rings + 0.12 * fibre + 0.22 * (pick - 0.5), 0, 1)
        clay = ramp(0.5, 1.6, fractal(p, 5, 3, 8)) * 0.35
        mix = np.stack([(1 - depth), depth, np.zeros_like(depth)], axis=1)
        mix = mix * (1 - clay)[:, np.newaxis]
        mix[:, 2] += clay
        mix = mix * (1 - 0.8 * seam)[:, np.newaxis]
        bent = roughen(p, n, tuple(s * 2.5 for s in stretch), 0.07)
        return Surface(("oak", "oak dark", "dry clay"), mix, wet * (1 - clay), 0.33, bent)

    return paint


def _plaster(p: Points, n: Points) -> Surface:
    stain = np.clip(0.30 + 0.22 * fractal(p, 3.2, 4, 2) + 0.5 * ramp(1.2, 0.3, p[1]), 0, 0.95)
    crack = ramp(0.10, 0.02, np.abs(fractal(p, 4, 2, 6))) * ramp(0.3, 1.2, fractal(p, 2, 1, 9))
    mix = np.stack([1 - stain, stain * (1 - 0.6 * crack), 0.3 * crack * stain], axis=1)
    bent = roughen(p, roughen(p, n, 7, 0.10, 1), 45, 0.09, 4)
    return Surface(("plaster", "plaster stain", "soot"), mix, 0.0, 0.8, bent)


def _plain(*names: str, gloss: float = 0.0, rough: float = 0.4):
    def paint(p: Points, n: Points) -> Surface:
        mix = np.zeros((p.shape[1], len(names)), dtype=np.float32)
        mix[:, 0] = 1
        return Surface(names, mix, gloss, rough)

    return paint


def _lamp() -> list[Solid]:
    at = tuple(LAMP)

    def shade(p: Points) -> np.ndarray:
        r = np.hypot(p[0], p[2])
        slope = np.abs((r - 0.045) * 0.70 - (0.125 - p[1]) * 0.71) - 0.004
        slope = np.maximum(slope, np.maximum(-0.005 - p[1], p[1] - 0.125))
        neck = np.maximum(r - 0.042, np.abs(p[1] - 0.145) - 0.028)
        return np.minimum(slope, neck)

    def enamel(p: Points, n: Points) -> Surface:
        r = np.hypot(p[0], p[2])
        inner = ((n[0] * p[0] + n[2] * p[2]) < 0) & (r > 0.02)
        mix = np.stack([~inner, inner], axis=1).astype(np.float32)
        surface = Surface(("enamel green", "enamel white"), mix, 0.9, 0.12)
        surface.glow = {"lamp": 6.0 * inner * ramp(0.0, 0.10, p[1])}
        return surface

    def bulb(p: Points, n: Points) -> Surface:
        surface = Surface(("paper",), np.ones((p.shape[1], 1)))
        surface.glow = {"lamp": 22.0 + 40.0 * np.exp(-((p[1] / 0.02) ** 2))}
        return surface

    bulb_solid = placed(
        "bulb",
        lambda p: ellipsoid(p, (0, 0, 0), (0.03, 0.036, 0.03)),
        ((-0.03, -0.036, -0.03), (0.03, 0.036, 0.03)),
        at,
        None,
        bulb,
    )
    bulb_solid.casts = False
    shade_solid = placed(
        "shade", shade, ((-0.18, -0.01, -0.18), (0.18, 0.18, 0.18)), at, None, enamel, slack=0.7
    )
    shade_solid.casts = False
    cord = placed(
        "cord",
        lambda p: limb(p, (0, 0.16, 0), (0, 0.9, 0), 0.005),
        ((-0.006, 0.16, -0.006), (0.006, 0.9, 0.006)),
        at,
        None,
        _plain("soot"),
    )
    cord.casts = False
    return [bulb_solid, shade_solid, cord]


def build() -> tuple[SetUp, SceneChart]:
    """Return the kiln room and its chart."""
    solids: list[Solid] = [
        box("wall", (-0.42, -0.2, -2.0), (3.5, 3.2, -1.62), _plaster, casts=False),
        box("right wall", (2.05, -0.2, -2), (2.3, 3.2, 3), _plaster, casts=False),
        box("table", (-1.05, TABLE - 0.05, -0.28), (1.75, TABLE, 1.25), _wood(0), casts=False),
        box("shelf low", (0.42, 1.155, -1.62), (1.86, 1.185, -1.34), _wood(0, 0.55, 0.1)),
        box("shelf high", (0.42, 1.545, -1.62), (1.86, 1.575, -1.34), _wood(0, 0.55, 0.1)),
        box("post", (0.42, 0.5, -1.62), (0.465, 2.0, -1.565), _wood(1, 0.6, 0.1)),
        box("post right", (1.815, 0.5, -1.62), (1.86, 2.0, -1.565), _wood(1, 0.6, 0.1)),
        *_kiln(),
        *_lamp(),
    ]
    low, high = 1.185, 1.575
    shelf = [
        ("bottle", 0.27, 0.60, high, "cobalt"),
        ("moon", 0.22, 0.83, high, "ash white"),
        ("vase", 0.29, 1.06, high, "iron red"),
        ("jar", 0.21, 1.30, high, "celadon"),
        ("bottle", 0.25, 1.52, high, "honey"),
        ("cup", 0.12, 1.69, high, "tenmoku"),
        ("jar", 0.24, 0.62, low, "tenmoku"),
        ("cup", 0.11, 0.80, low, "celadon"),
        ("cup", 0.11, 0.91, low, "celadon"),
        ("vase", 0.27, 1.09, low, "ash white"),
        ("bowl", 0.10, 1.31, low, "cobalt"),
        ("moon", 0.23, 1.58, low, "copper green"),
    ]
    for k, (shape, tall, x, y, glaze) in enumerate(shelf):
        solids.append(pot(shape, tall, (x, y, -1.47 + 0.02 * (-1) ** k), glaze, k))
    table = [
        ("jar", 0.30, (-0.70, TABLE, 0.20), "tenmoku", 21),
        ("vase", 0.27, (0.245, TABLE, -0.02), "iron red", 22),
        ("bowl", 0.095, (-0.30, TABLE, 0.42), "celadon", 23),
        ("cup", 0.105, (0.09, TABLE, 0.40), "cobalt", 24),
        ("cup", 0.10, (-0.03, TABLE, 0.60), "ash white", 25),
        ("moon", 0.19, (0.93, TABLE, 0.02), "ash white", 26),
        ("bottle", 0.25, (1.14, TABLE, 0.20), "cobalt", 28),
        ("bowl", 0.075, (0.66, TABLE, 0.50), "honey", 29),
    ]
    solids += [pot(s, h, at, g, k) for s, h, at, g, k in table]
    hold = np.array([-0.235, 1.125, -0.10])
    solids.append(pot("bowl", 0.085, (hold[0], hold[1] - 0.02, hold[2]), "raw", 31, tilt=-6))
    person = Person(
        neck=(-0.20, 1.335, -0.43),
        yaw=-6,
        head_yaw=-20,
        head_pitch=17,
        skin="skin tan",
        shirt="linen",
        scarf="indigo cloth",
        hands=(tuple(hold + vec(-0.105, 0.005, -0.035)), tuple(hold + vec(0.105, 0.005, -0.035))),
        elbows=0.34,
    )
    solids += potter(person)
    chart = scene_chart((0.575, TABLE + 0.002, 0.03), 0.27, yaw=-8, pitch=14)
    solids.append(chart.solid)

    def beam(d: Points) -> np.ndarray:
        return 0.03 + 0.97 * ramp(0.16, -0.22, d[1])

    mouth = vec(*MOUTH)
    lights = [
        Light("lamp", LAMP, 1.25, 0.065, beam),
        Light("kiln", mouth + vec(-0.02, 0.18, 0.10), 0.36, 0.16, lambda d: np.clip(d[2], 0, 1)),
        Light("kiln", mouth + vec(0.02, 0.42, 0.10), 0.36, 0.14, lambda d: np.clip(d[2], 0, 1)),
    ]

    def ambient(p: Points, n: Points) -> Glow:
        # light thrown back by table and walls, nearest where the lamp falls
        off = p - vec(0.35, TABLE, 0.1)[:, np.newaxis]
        near = 1.0 / (0.5 + (off * off).sum(axis=0))
        up = 0.5 - 0.5 * n[1]
        kiln = p - vec(*MOUTH)[:, np.newaxis]
        warm = 1.0 / (0.4 + (kiln * kiln).sum(axis=0))
        return {
            "lamp off wood": 0.060 * near * (0.45 + up) + 0.010,
            "kiln off brick": 0.045 * warm * (0.7 - 0.3 * n[0]) * (0.6 + 0.4 * n[2]),
        }

    def backdrop(o: Points, d: Points) -> Glow:
        # what lies behind the viewer: a dim room, a paler wall
        return {
            "lamp off wood": 0.010 + 0.02 * ramp(-0.2, 0.5, d[1]),
            "lamp": 0.012 * np.exp(-(((d[0] - 0.5) / 0.25) ** 2) - ((d[1] - 0.1) / 0.2) ** 2),
        }

    setup = SetUp(
        name="kiln",
        bench=bench(),
        eye=vec(0.30, 1.50, 2.35),
        target=vec(0.165, 1.315, 0.0),
        fov=29.5,
        solids=solids,
        lights=lights,
        ambient=ambient,
        backdrop=backdrop,
        exposure=0.0,
        focus=2.75,
        softness=6.0,
        grey_points=chart.grey,
        points={
            "face": face_of(person),
            "kiln mouth": vec(*MOUTH) + vec(-0.02, 0.42, 0.0),
            "lamp": LAMP - vec(0, 0.02, 0),
            "wall": vec(0.10, 1.45, -1.62),
            "shade": vec(-0.85, 0.93, -1.22),
        },
    )
    return setup, chart
