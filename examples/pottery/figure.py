"""The potter: a stylised person of soft ellipsoids; nobody in particular."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pottery.noise import fractal, noise, roughen
from pottery.solids import (
    Limbs,
    Paint,
    Points,
    Solid,
    Surface,
    carve,
    ellipsoid,
    join,
    limb,
    placed,
    ramp,
    turned,
)


@dataclass(frozen=True)
class Person:
    """How the potter stands: neck position, body yaw, head turn, colours, hands."""

    neck: tuple[float, float, float]
    yaw: float
    head_yaw: float
    head_pitch: float
    skin: str
    shirt: str
    scarf: str
    hands: tuple[tuple[float, float, float], tuple[float, float, float]] | None = None
    elbows: float = 0.30


def _head(p: Points) -> np.ndarray:
    x = np.abs(p[0])
    q = np.stack([x, p[1], p[2]])
    d = ellipsoid(q, (0, 0.028, -0.018), (0.073, 0.090, 0.094))
    d = join(d, ellipsoid(q, (0, -0.040, 0.026), (0.060, 0.080, 0.062)), 0.045)
    d = join(d, ellipsoid(q, (0, -0.098, 0.058), (0.026, 0.020, 0.024)), 0.045)
    d = join(d, ellipsoid(q, (0.036, -0.026, 0.060), (0.022, 0.022, 0.022)), 0.035)
    d = join(d, limb(q, (0.0, 0.020, 0.081), (0.040, 0.021, 0.064), 0.010), 0.028)
    socket = ellipsoid(q, (0.031, -0.001, 0.096), (0.020, 0.014, 0.020))
    d = carve(d, socket, 0.022)
    d = join(d, ellipsoid(q, (0.031, -0.004, 0.071), (0.0165, 0.0135, 0.0145)), 0.006)
    d = join(d, limb(q, (0, 0.014, 0.086), (0, -0.037, 0.108), 0.0060, 0.0088), 0.015)
    d = join(d, ellipsoid(q, (0.0095, -0.041, 0.097), (0.0070, 0.0062, 0.0100)), 0.008)
    d = join(d, ellipsoid(q, (0, -0.0665, 0.0865), (0.021, 0.0062, 0.0095)), 0.010)
    d = join(d, ellipsoid(q, (0, -0.0785, 0.0845), (0.0175, 0.0072, 0.0095)), 0.008)
    ear = ellipsoid(q, (0.0735, -0.012, -0.010), (0.010, 0.030, 0.018))
    ear = carve(ear, ellipsoid(q, (0.086, -0.008, -0.004), (0.009, 0.018, 0.010)), 0.008)
    d = join(d, ear, 0.012)
    return join(d, limb(p, (0, -0.075, -0.028), (0, -0.20, -0.052), 0.050, 0.055), 0.035)


def _wrap(p: Points) -> np.ndarray:
    """Return a head scarf, tied at the back."""
    cap = ellipsoid(p, (0, 0.034, -0.022), (0.0815, 0.0965, 0.1015))
    edge = p[1] * 0.82 + p[2] * -0.57 - 0.004
    d = np.maximum(cap, -edge)
    d = join(d, ellipsoid(p, (0, -0.020, -0.112), (0.036, 0.036, 0.032)), 0.02)
    return join(d, limb(p, (0.008, -0.03, -0.125), (0.020, -0.125, -0.135), 0.014, 0.020), 0.02)


def face_of(person: Person) -> np.ndarray:
    """Return a point on the cheek that is turned to the viewer."""
    turn, head_turn = turned(person.yaw), turned(person.head_yaw, person.head_pitch)
    head = np.asarray(person.neck, np.float32) + turn @ np.array([0, 0.165, 0.035], np.float32)
    side = -1.0 if person.head_yaw > 0 else 1.0
    return head + head_turn @ np.array([side * 0.040, -0.036, 0.072], np.float32)


def potter(person: Person) -> list[Solid]:
    """Return the solids of the upper half of the potter."""
    turn = turned(person.yaw)
    head_turn = turned(person.head_yaw, person.head_pitch)
    neck = np.asarray(person.neck, np.float32)
    head_at = tuple(neck + turn @ np.array([0, 0.165, 0.035], np.float32))

    def skin(p: Points, n: Points, face: bool) -> Surface:
        blush = 0.10 + 0.05 * fractal(p, 60, 2)
        lash = np.zeros_like(p[0])
        lips = np.zeros_like(p[0])
        if face:
            x = np.abs(p[0])
            cheek = np.exp(-(((x - 0.042) / 0.022) ** 2 + ((p[1] + 0.036) / 0.024) ** 2))
            tip = np.exp(-((x / 0.016) ** 2 + ((p[1] + 0.036) / 0.02) ** 2))
            blush = blush + (0.26 * cheek + 0.2 * tip) * (p[2] > 0.03)
            lid = -0.0088 - 0.10 * (x - 0.031) ** 2 / 0.016
            lash = np.exp(-(((p[1] - lid) / 0.0016) ** 2)) * ramp(0.016, 0.019, x)
            lash = lash * ramp(0.048, 0.044, x) * (p[2] > 0.05) * 0.85
            arch = 0.024 + 0.1 * (x - 0.03) - 2.2 * (x - 0.032) ** 2
            brow = np.exp(-(((p[1] - arch) / 0.0042) ** 2)) * ramp(0.010, 0.016, x)
            brow = brow * ramp(0.056, 0.046, x) * (p[2] > 0.04) * 0.6
            lash = np.maximum(lash, brow)
            spread = np.sqrt(np.maximum(1 - (x / 0.0235) ** 2, 0))
            lips = ramp(0.0125 * spread + 1e-5, 0.0095 * spread, np.abs(p[1] + 0.0725))
            lips = lips * (p[2] > 0.06) * (x < 0.0235)
            strands = 0.004 * noise(p, (260, 30, 260), 3)
            hair = ramp(0.016, 0.006, p[2] + 0.25 * np.maximum(0.01 - p[1], 0) + strands)
            hair = hair * ramp(-0.075, -0.06, p[1] + strands) * ramp(0.082, 0.076, x)
            hair = hair * (0.9 - 0.25 * np.clip(noise(p, (300, 20, 300), 4), -1, 1))
            seam = np.exp(-(((p[1] + 0.0722) / 0.0014) ** 2)) * ramp(0.023, 0.019, x)
            lash = np.maximum(lash, seam * (p[2] > 0.06) * 0.6)
            lash = np.clip(np.maximum(lash, hair), 0, 1)
        red = np.clip(np.maximum(blush, 0.62 * lips), 0, 1)
        mix = np.stack([(1 - red) * (1 - lash), red * (1 - lash), lash], axis=1)
        bumped = roughen(p, n, 420, 0.035)
        shine = 0.55 + 0.15 * noise(p, 90)
        return Surface(
            (person.skin, "lip", "hair"), mix, shine, 0.42, bumped, flesh=1.0, within="lip"
        )

    def cloth(name: str, fold: float, weave: float = 0.05) -> Paint:
        def paint(p: Points, n: Points) -> Surface:
            shade = np.clip(0.12 + 0.10 * fractal(p, 22, 2, 4), 0, 0.6)
            mix = np.stack([1 - shade, shade], axis=1)
            bent = roughen(p, n, (26, 9, 26), fold, 2)
            return Surface((name, "hair"), mix, 0.25, 0.7, roughen(p, bent, 300, weave), flesh=0.5)

        return paint

    solids = [
        placed(
            "face",
            _head,
            ((-0.09, -0.245, -0.125), (0.09, 0.135, 0.135)),
            head_at,
            head_turn,
            lambda p, n: skin(p, n, True),
            slack=0.8,
        ),
        placed(
            "scarf",
            _wrap,
            ((-0.10, -0.16, -0.17), (0.10, 0.145, 0.10)),
            head_at,
            head_turn,
            cloth(person.scarf, 0.16),
            slack=0.75,
        ),
    ]

    reach: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
    for side in (-1, 1):
        shoulder = np.array([0.165 * side, -0.092, -0.025])
        if person.hands is None:
            elbow = np.array([0.26 * side, -0.36, -0.02])
            hand = np.array([0.24 * side, -0.60, 0.08])
        else:
            world = np.asarray(person.hands[0 if side < 0 else 1], np.float32)
            hand = turn.T @ (world - neck)
            middle = (shoulder + hand) / 2
            elbow = middle + np.array([0.42 * side, -0.75, -0.35]) * person.elbows * 0.42
        reach.append((shoulder, elbow, hand))

    def torso(p: Points) -> np.ndarray:
        d = limb(p, (-0.125, -0.088, -0.025), (0.125, -0.088, -0.025), 0.056)
        d = join(d, ellipsoid(p, (0, -0.33, -0.012), (0.165, 0.34, 0.108)), 0.09)
        d = join(d, limb(p, (0, -0.04, -0.025), (0, 0.005, -0.018), 0.072, 0.058), 0.06)
        for shoulder, elbow, hand in reach:
            d = join(d, limb(p, shoulder, elbow, 0.052, 0.045), 0.045)
            cuff = elbow + (hand - elbow) * 0.38
            d = join(d, limb(p, elbow, cuff, 0.045, 0.043), 0.03)
        return d + 0.0022 * np.sin(60 * p[1] + 9 * np.sin(11 * p[0] + 7 * p[2]))

    ends = np.stack([v for arm in reach for v in arm])
    low = np.minimum(ends.min(axis=0) - 0.08, [-0.2, -0.66, -0.15])
    high = np.maximum(ends.max(axis=0) + 0.08, [0.2, 0.07, 0.12])
    shirt = cloth(person.shirt, 0.22)
    apron = cloth("apron", 0.16)

    def dressed(p: Points, n: Points) -> Surface:
        under, over = shirt(p, n), apron(p, n)
        bib = ramp(-0.135, -0.14, p[1]) * ramp(0.148, 0.142, np.abs(p[0])) * (n[2] > 0.05)
        bib = bib * (p[2] > 0.02) * (p[2] < 0.135)
        strap = ramp(0.020, 0.017, np.abs(np.abs(p[0]) - 0.085 + 0.15 * (p[1] + 0.14)))
        bib = np.maximum(bib, strap * (p[1] > -0.15) * (p[1] < 0.02) * (p[2] > -0.06))
        mix = np.concatenate(
            [under.mix * (1 - bib)[:, np.newaxis], over.mix * bib[:, np.newaxis]], axis=1
        )
        return Surface((*under.names, *over.names), mix, 0.2, 0.7, under.normal, flesh=0.5)

    solids.append(
        placed("torso", torso, (tuple(low), tuple(high)), tuple(neck), turn, dressed, slack=0.8)
    )

    if person.hands is not None:
        for side, (_, elbow, hand) in zip((-1, 1), reach, strict=True):
            solids.append(_forearm(side, elbow, hand, neck, turn, skin))
    return solids


def _forearm(side: int, elbow, hand, neck, turn, skin) -> Solid:
    """Return a bare forearm and a hand that cups towards the other one."""
    along = (hand - elbow) / np.linalg.norm(hand - elbow)
    inward = np.array([-side, 0.0, 0.0])
    inward = inward - along * (inward @ along)
    inward /= np.linalg.norm(inward)
    up = np.cross(along, inward) * -side
    if up[1] < 0:
        up = -up

    def spot(a: float, u: float, i: float) -> np.ndarray:
        return hand + along * a + up * u + inward * i

    parts = [
        (elbow + along * 0.03, spot(-0.02, 0, 0), 0.037, 0.025),
        (spot(0.0, -0.020, 0), spot(0.055, -0.026, 0.012), 0.021, 0.018),
        (spot(0.0, 0.015, 0), spot(0.055, 0.026, 0.012), 0.021, 0.018),
        (spot(0.005, 0.030, 0.010), spot(0.040, 0.056, 0.032), 0.0135, 0.0115),
        (spot(0.040, 0.056, 0.032), spot(0.066, 0.054, 0.058), 0.0110, 0.0085),
    ]
    for k, (lift, far) in enumerate(
        ((0.036, 0.090), (0.013, 0.102), (-0.011, 0.099), (-0.033, 0.083))
    ):
        bend = spot(far, lift * 0.95, 0.034)
        tip = spot(far + 0.012, lift * 0.85, 0.062 - 0.004 * k)
        parts.append((spot(0.060, lift, 0.014), bend, 0.0105, 0.0105))
        parts.append((bend, tip, 0.0095, 0.0075))
    limbs = Limbs(parts, soft=0.0032)

    points = np.stack([elbow, hand, spot(0.12, 0, 0.07), spot(0.05, 0.06, 0.05)])
    low, high = points.min(axis=0) - 0.06, points.max(axis=0) + 0.06
    return placed(
        "hand left" if side < 0 else "hand right",
        limbs.distance,
        (tuple(low), tuple(high)),
        tuple(neck),
        turn,
        lambda p, n: skin(p, n, False),
        slack=0.85,
    )


def walker(foot: Sequence[float], yaw: float, height: float, coat: str, skin: str) -> list[Solid]:
    """Return a whole standing figure in a long coat and a hat, arms about a jar."""
    k = height / 1.75

    def body(p: Points) -> np.ndarray:
        q = p / np.float32(k)
        d = limb(q, (-0.085, 0.06, 0.02), (-0.09, 0.50, 0), 0.055, 0.085)
        d = join(d, limb(q, (0.10, 0.06, -0.03), (0.09, 0.50, 0), 0.055, 0.085), 0.03)
        d = join(d, limb(q, (-0.085, 0.035, 0.02), (-0.10, 0.03, 0.13), 0.045, 0.035), 0.03)
        d = join(d, limb(q, (0.10, 0.035, -0.03), (0.12, 0.03, 0.08), 0.045, 0.035), 0.03)
        coat_part = limb(q, (0, 0.52, -0.01), (0, 1.05, 0), 0.205, 0.150)
        coat_part = join(coat_part, limb(q, (-0.15, 1.33, 0), (0.15, 1.33, 0), 0.075), 0.12)
        coat_part = join(coat_part, limb(q, (0, 1.0, 0), (0, 1.3, 0), 0.14, 0.12), 0.08)
        d = join(d, coat_part, 0.05)
        for side in (-1, 1):
            elbow = (0.27 * side, 1.08, 0.06)
            d = join(d, limb(q, (0.20 * side, 1.32, 0), elbow, 0.062, 0.055), 0.04)
            d = join(d, limb(q, elbow, (0.12 * side, 1.06, 0.26), 0.052, 0.040), 0.03)
        return d * np.float32(k)

    def head(p: Points) -> np.ndarray:
        q = p / np.float32(k)
        d = ellipsoid(q, (0, 1.60, 0.01), (0.075, 0.105, 0.09))
        d = join(d, limb(q, (0, 1.40, -0.01), (0, 1.52, 0), 0.055), 0.03)
        d = join(d, limb(q, (0, 1.60, 0.09), (0, 1.575, 0.115), 0.012), 0.02)
        for side in (-1, 1):
            d = join(d, ellipsoid(q, (0.10 * side, 1.05, 0.28), (0.04, 0.045, 0.05)), 0.02)
        return d * np.float32(k)

    def hat(p: Points) -> np.ndarray:
        q = p / np.float32(k)
        crown = ellipsoid(q, (0, 1.675, 0), (0.088, 0.085, 0.10))
        brim = ellipsoid(q, (0, 1.655, 0.015), (0.165, 0.014, 0.18))
        return join(np.maximum(crown, 1.645 - q[1]), brim, 0.02) * np.float32(k)

    def cloth(name: str, split: float) -> Paint:
        def paint(p: Points, n: Points) -> Surface:
            legs = ramp(split + 0.01, split, p[1] / k)
            worn = np.clip(0.2 + 0.12 * fractal(p, 14, 2, 6), 0, 0.6)
            mix = np.stack([(1 - legs) * (1 - worn), (1 - legs) * worn, legs], axis=1)
            return Surface(
                (name, "hair", "slate"),
                mix,
                0.25,
                0.7,
                roughen(p, n, (16, 7, 16), 0.25, 3),
                flesh=1.0,
            )

        return paint

    def flesh(p: Points, n: Points) -> Surface:
        mix = np.tile([0.85, 0.15], (p.shape[1], 1))
        return Surface((skin, "lip"), mix, 0.4, 0.45, flesh=1.0, within="lip")

    turn = turned(yaw)
    at = tuple(foot)
    bounds = ((-0.36 * k, 0, -0.25 * k), (0.36 * k, 1.45 * k, 0.36 * k))
    top = ((-0.19 * k, 1.0 * k, -0.18 * k), (0.19 * k, 1.78 * k, 0.36 * k))
    return [
        placed("coat", body, bounds, at, turn, cloth(coat, 0.36), slack=0.8),
        placed("walker skin", head, top, at, turn, flesh, slack=0.8),
        placed("hat", hat, top, at, turn, cloth("apron", -1), slack=0.6),
    ]
