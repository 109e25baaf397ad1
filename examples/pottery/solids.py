"""Solids as signed distances, and the rays that find them.

Points and directions are float32 arrays of shape (3, n), metres, x right, y up, z towards
the viewer. A solid is bounded by a box, so that each ray asks only the few it may meet.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage
from scipy.interpolate import PchipInterpolator
from scipy.spatial import cKDTree

Points = np.ndarray
Distance = Callable[[Points], np.ndarray]


def vec(*values: float) -> np.ndarray:
    """Return a float32 vector."""
    return np.array(values, dtype=np.float32)


def dot(a: Points, b: Points) -> np.ndarray:
    """Return the dot product over the first axis."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def length(a: Points) -> np.ndarray:
    """Return the length over the first axis."""
    return np.sqrt(dot(a, a))


def unit(a: Points) -> Points:
    """Return the direction of `a`."""
    return a / np.maximum(length(a), 1e-12)


def ramp(low: float, high: float, x: np.ndarray) -> np.ndarray:
    """Return a smooth step, 0 below `low` and 1 above `high` (or falling, if low > high)."""
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def turned(yaw: float = 0.0, pitch: float = 0.0, roll: float = 0.0) -> np.ndarray:
    """Return a rotation (columns = local axes in the world), angles in degrees."""
    a, b, c = np.radians([yaw, pitch, roll])
    about_y = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(b), -np.sin(b)], [0, np.sin(b), np.cos(b)]])
    about_z = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
    return (about_y @ about_x @ about_z).astype(np.float32)


# --- distances ----------------------------------------------------------------------------


def ellipsoid(p: Points, centre: Sequence[float], radii: Sequence[float]) -> np.ndarray:
    """Return the distance to an ellipsoid (first-order, exact on the surface)."""
    a, b, c = (float(1.0 / r) for r in radii)
    x = (p[0] - float(centre[0])) * a
    y = (p[1] - float(centre[1])) * b
    z = (p[2] - float(centre[2])) * c
    k0 = np.sqrt(x * x + y * y + z * z)
    x *= a
    y *= b
    z *= c
    k1 = np.sqrt(x * x + y * y + z * z)
    return k0 * (k0 - 1.0) / np.maximum(k1, 1e-6)


def limb(
    p: Points, a: Sequence[float], b: Sequence[float], ra: float, rb: float | None = None
) -> np.ndarray:
    """Return the distance to a capsule whose radius goes from `ra` at a to `rb` at b."""
    rb = ra if rb is None else rb
    ax, ay, az = (float(b[i] - a[i]) for i in range(3))
    x, y, z = p[0] - float(a[0]), p[1] - float(a[1]), p[2] - float(a[2])
    norm = 1.0 / (ax * ax + ay * ay + az * az)
    h = x * (ax * norm) + y * (ay * norm) + z * (az * norm)
    h = np.minimum(np.maximum(h, 0, out=h), 1, out=h)
    x -= ax * h
    y -= ay * h
    z -= az * h
    return np.sqrt(x * x + y * y + z * z) - float(ra) - float(rb - ra) * h


class Limbs:
    """Many capsules (from, to, radius there, radius here) grown softly into one, all at once."""

    def __init__(self, parts: Sequence[tuple], soft: float) -> None:
        start, end, ra, rb = (np.array(v, dtype=np.float32) for v in zip(*parts, strict=True))
        axis = end - start
        self._start, self._axis = start[:, :, np.newaxis], axis[:, :, np.newaxis]
        self._along = (axis / (axis * axis).sum(axis=1, keepdims=True)).astype(np.float32)
        self._shift = (self._along * start).sum(axis=1)[:, np.newaxis]
        self._ra, self._grow = ra[:, np.newaxis], (rb - ra)[:, np.newaxis]
        self._soft = np.float32(soft)

    def distance(self, p: Points) -> np.ndarray:
        """Return the distance, a soft minimum over the capsules."""
        h = np.clip(self._along @ p - self._shift, 0, 1)
        square = np.zeros_like(h)
        for k in range(3):
            off = p[k] - self._start[:, k] - self._axis[:, k] * h
            square += off * off
        d = np.sqrt(square) - self._ra - self._grow * h
        least = d.min(axis=0)
        return least - self._soft * np.log(np.exp((least - d) / self._soft).sum(axis=0))


def block(p: Points, half: Sequence[float], rounding: float = 0.0) -> np.ndarray:
    """Return the distance to a box about the origin."""
    q = [np.abs(p[i]) - np.float32(half[i] - rounding) for i in range(3)]
    outside = np.sqrt(sum(np.maximum(v, 0) ** 2 for v in q))
    inside = np.minimum(np.maximum(np.maximum(q[0], q[1]), q[2]), 0)
    return outside + inside - np.float32(rounding)


def join(a: np.ndarray, b: np.ndarray, soft: float) -> np.ndarray:
    """Return a soft union."""
    h = np.maximum(np.float32(soft) - np.abs(a - b), 0) / np.float32(soft)
    return np.minimum(a, b) - h * h * np.float32(soft * 0.25)


def carve(a: np.ndarray, b: np.ndarray, soft: float) -> np.ndarray:
    """Return `a` without `b`, with a soft edge."""
    return -join(-a, b, soft)


class Lathe:
    """A thrown pot: a profile turned about the y axis, looked up in a table of distances."""

    def __init__(self, outline: Sequence[tuple[float, float]], cell: float = 0.0) -> None:
        knots = np.asarray(outline, dtype=float)
        along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(knots, axis=0).T))])
        fine = np.linspace(0, along[-1], 1200)
        curve = np.stack([PchipInterpolator(along, knots[:, i])(fine) for i in range(2)], axis=1)
        self.height = float(knots[:, 1].max())
        self.width = float(knots[:, 0].max())
        self.cell = cell or max(self.height, 2 * self.width) / 110
        margin = 5 * self.cell
        rows = np.arange(-margin, self.width + margin, self.cell)
        columns = np.arange(-margin, self.height + margin, self.cell)
        grid = np.stack(np.meshgrid(rows, columns, indexing="ij"), axis=-1).reshape(-1, 2)
        mirrored = np.stack([np.abs(grid[:, 0]), grid[:, 1]], axis=1)
        distance = cKDTree(curve).query(mirrored)[0]
        outer = np.concatenate([[[0, curve[0, 1]]], curve[::4], [curve[-1], [0, curve[-1, 1]]]])
        inside = _inside(mirrored, outer)
        table = np.where(inside, -distance, distance).reshape(rows.size, columns.size)
        self._table = table.astype(np.float32)
        self._smooth = ndimage.spline_filter(table, order=3).astype(np.float32)
        self._origin = margin

    def distance(self, p: Points, order: int = 1) -> np.ndarray:
        """Return the distance of local points (y = 0 is the foot)."""
        r = np.sqrt(p[0] * p[0] + p[2] * p[2])
        u = (r + self._origin) / self.cell
        v = (p[1] + self._origin) / self.cell
        top_u, top_v = self._table.shape[0] - 1.001, self._table.shape[1] - 1.001
        cu, cv = np.clip(u, 0, top_u), np.clip(v, 0, top_v)
        outside = np.hypot(u - cu, v - cv) * self.cell
        table = self._table if order == 1 else self._smooth
        if order == 1:
            iu, iv = cu.astype(np.int32), cv.astype(np.int32)
            fu, fv = cu - iu.astype(np.float32), cv - iv.astype(np.float32)
            flat = table.ravel()
            k = iu * table.shape[1] + iv
            low = flat[k] * (1 - fv) + flat[k + 1] * fv
            k += table.shape[1]
            high = flat[k] * (1 - fv) + flat[k + 1] * fv
            value = low + (high - low) * fu
        else:
            value = ndimage.map_coordinates(
                table, np.stack([cu, cv]), order=3, prefilter=False, mode="nearest"
            )
        return value + outside


def _inside(points: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Return which points lie in a closed polygon (crossing number), few edges at a time."""
    x, y = points[:, 0], points[:, 1]
    odd = np.zeros(len(points), dtype=bool)
    a, b = polygon, np.roll(polygon, -1, axis=0)
    keep = a[:, 1] != b[:, 1]
    for (ax, ay), (bx, by) in zip(a[keep], b[keep], strict=True):
        across = (ay > y) != (by > y)
        odd[across] ^= x[across] < (bx - ax) * (y[across] - ay) / (by - ay) + ax
    return odd


# --- solids -------------------------------------------------------------------------------


@dataclass
class Surface:
    """What a solid shows at some of its points.

    Attributes
    ----------
    names
        Reflectances that are mixed.
    mix
        Their weights, shape (n, k).
    gloss
        Strength of the clear coat, 0-1, (n,) or a number.
    rough
        Width of its highlight, 0 (mirror) to 1.
    normal
        Bumped normal (3, n), if any.
    glow
        Light sent out by itself: source name to radiance (n,).
    flesh
        How far light wraps into the shade, as in skin, 0-1.
    within
        Reflectance of that wrapped light; the surface's own if empty.
    """

    names: tuple[str, ...]
    mix: np.ndarray
    gloss: np.ndarray | float = 0.0
    rough: np.ndarray | float = 0.4
    normal: Points | None = None
    glow: dict[str, np.ndarray] = field(default_factory=dict)
    flesh: float = 0.0
    within: str = ""


Paint = Callable[[Points, Points], Surface]


@dataclass
class Solid:
    """A distance, its box and its paint.

    Attributes
    ----------
    distance
        World points to metres.
    low, high
        Corners of the bounding box.
    paint
        World points and normals to a `Surface`.
    fine
        A smoother distance for normals, if the first is a table.
    is_box
        The bounding box is the solid itself.
    casts
        Whether it throws shadows.
    closes
        Whether it darkens corners.
    slack
        Part of the distance that a step may go (below 1 for distances that overshoot).
    """

    name: str
    distance: Distance
    low: np.ndarray
    high: np.ndarray
    paint: Paint
    fine: Distance | None = None
    is_box: bool = False
    casts: bool = True
    closes: bool = True
    slack: float = 0.95

    def span(self, o: Points, d: Points, pad: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """Return where rays enter and leave the box."""
        t0 = np.full(d.shape[1], -np.inf, dtype=np.float32)
        t1 = np.full(d.shape[1], np.inf, dtype=np.float32)
        for axis in range(3):
            inverse = 1.0 / np.where(np.abs(d[axis]) < 1e-9, np.float32(1e-9), d[axis])
            a = (np.float32(self.low[axis] - pad) - o[axis]) * inverse
            b = (np.float32(self.high[axis] + pad) - o[axis]) * inverse
            np.maximum(t0, np.minimum(a, b), out=t0)
            np.minimum(t1, np.maximum(a, b), out=t1)
        return t0, t1

    def normal(self, p: Points) -> Points:
        """Return the outward normal by central differences."""
        if self.is_box:
            middle = (self.low + self.high)[:, np.newaxis] / 2
            half = (self.high - self.low)[:, np.newaxis] / 2
            q = p - middle
            face = np.argmin(np.abs(np.abs(q) - half), axis=0)
            n = np.zeros_like(p)
            columns = np.arange(p.shape[1])
            n[face, columns] = np.sign(q[face, columns])
            return n
        measure = self.fine or self.distance
        size = np.float32(6e-4)
        n = np.empty_like(p)
        for axis in range(3):
            shift = np.zeros((3, 1), dtype=np.float32)
            shift[axis] = size
            n[axis] = measure(p + shift) - measure(p - shift)
        return unit(n)


def box(
    name: str, low: Sequence[float], high: Sequence[float], paint: Paint, casts: bool = True
) -> Solid:
    """Return a solid with its faces along the axes."""
    lo, hi = vec(*low), vec(*high)
    middle, half = (lo + hi) / 2, (hi - lo) / 2

    def distance(p: Points) -> np.ndarray:
        return block(p - middle[:, np.newaxis], half)

    return Solid(name, distance, lo, hi, paint, is_box=True, casts=casts)


def placed(
    name: str,
    local: Distance,
    reach: tuple[Sequence[float], Sequence[float]],
    at: Sequence[float],
    turn: np.ndarray | None,
    paint: Paint,
    fine: Distance | None = None,
    slack: float = 0.95,
) -> Solid:
    """Return a solid given in local coordinates, moved to `at` and turned.

    `reach` is its local bounding box; `paint` gets local points and local normals.
    """
    origin = vec(*at)[:, np.newaxis]
    axes = np.eye(3, dtype=np.float32) if turn is None else turn
    corners = np.array(
        [[reach[i][0], reach[j][1], reach[k][2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    ).T
    world = axes @ corners + origin

    def inward(p: Points) -> Points:
        return (axes.T @ (p - origin)).astype(np.float32)

    def painted(p: Points, n: Points) -> Surface:
        surface = paint(inward(p), axes.T @ n)
        if surface.normal is not None:
            surface.normal = axes @ surface.normal
        return surface

    return Solid(
        name,
        lambda p: local(inward(p)),
        world.min(axis=1).astype(np.float32),
        world.max(axis=1).astype(np.float32),
        painted,
        None if fine is None else lambda p: fine(inward(p)),
        slack=slack,
    )


# --- rays ---------------------------------------------------------------------------------


def trace(solids: Sequence[Solid], o: Points, d: Points) -> tuple[np.ndarray, np.ndarray]:
    """Return the distance to the nearest solid along each ray (inf if none) and its index."""
    count = d.shape[1]
    best = np.full(count, np.inf, dtype=np.float32)
    which = np.full(count, -1, dtype=np.int16)
    for index, solid in enumerate(solids):
        t0, t1 = solid.span(o, d)
        if solid.is_box:
            hit = (t0 < t1) & (t0 > 1e-4) & (t0 < best)
            best[hit] = t0[hit]
            which[hit] = index
            continue
        rays = np.nonzero((t0 < t1) & (t1 > 0) & (t0 < best))[0]
        if not rays.size:
            continue
        t = _march(solid, o[:, rays], d[:, rays], np.maximum(t0[rays], 2e-3), t1[rays])
        nearer = t < best[rays]
        best[rays[nearer]] = t[nearer]
        which[rays[nearer]] = index
    return best, which


def _march(solid: Solid, o: Points, d: Points, t: np.ndarray, end: np.ndarray) -> np.ndarray:
    found = np.full(t.size, np.inf, dtype=np.float32)
    live = np.arange(t.size)
    t = t.copy()
    for _ in range(70):
        h = solid.distance(o + d * t)
        near = h < 3e-4 + 1e-4 * t
        found[live[near]] = t[near]
        t = t + h * np.float32(solid.slack)
        go = ~near & (t < end)
        if not go.any():
            break
        if go.sum() < 0.8 * go.size:
            live, t, end, o, d = live[go], t[go], end[go], o[:, go], d[:, go]
        else:
            t = np.where(go, t, np.float32(1e9))
    else:
        # still skimming along a surface: it is there
        skim = t < end
        found[live[skim]] = t[skim]
    return found


def lit(solids: Sequence[Solid], p: Points, target: np.ndarray, size: float) -> np.ndarray:
    """Return how much of a round light of radius `size` at `target` (3,) or (3, n) is seen.

    Distances along the ray, over the width of the light's cone there, give a soft edge
    (after the well-known penumbra estimate for distance fields).
    """
    way = (target[:, np.newaxis] if target.ndim == 1 else target) - p
    far = length(way)
    d = way / far
    seen = np.ones(p.shape[1], dtype=np.float32)
    for solid in solids:
        if not solid.casts:
            continue
        middle = ((solid.low + solid.high) / 2)[:, np.newaxis]
        to = middle - p
        along = np.clip(dot(to, d), 0, far)
        half = float(np.linalg.norm(solid.high - solid.low)) / 2
        wide = min(size, float((size / far * (along + half)).max()))
        radius = half + wide
        miss = dot(to, to) - 2 * along * dot(to, d) + along * along
        near = np.nonzero((miss < radius * radius) & (seen > 0))[0]
        if not near.size:
            continue
        q, e = p[:, near], d[:, near]
        t0, t1 = solid.span(q, e, pad=wide)
        t0 = np.maximum(t0, 0.004)
        t1 = np.minimum(t1, far[near] - size * 0.9)
        ok = t0 < t1
        near = near[ok]
        if not near.size:
            continue
        share = _penumbra(solid, q[:, ok], e[:, ok], t0[ok], t1[ok], size / far[near])
        seen[near] = np.minimum(seen[near], share)
    return seen


def _penumbra(
    solid: Solid, p: Points, d: Points, t: np.ndarray, end: np.ndarray, cone: np.ndarray
) -> np.ndarray:
    worst = np.ones(t.size, dtype=np.float32)
    live = np.arange(t.size)
    t = t.copy()
    for _ in range(40):
        h = solid.distance(p + d * t)
        worst[live] = np.minimum(worst[live], (h - np.float32(0.0012)) / np.maximum(cone * t, 1e-4))
        t = t + np.clip(h * np.float32(solid.slack), 0.0035, 0.25)
        go = (t < end) & (worst[live] > 0)
        if not go.any():
            break
        live, t, end, cone = live[go], t[go], end[go], cone[go]
        p, d = p[:, go], d[:, go]
    s = np.clip(worst, 0, 1)
    return s * s * (3 - 2 * s)


def openness(solids: Sequence[Solid], p: Points, n: Points, reach: float = 0.3) -> np.ndarray:
    """Return ambient openness 0-1: how soon solids come near on the way out along the normal."""
    closed = np.zeros(p.shape[1], dtype=np.float32)
    steps = [(reach * f, w) for f, w in ((0.12, 0.9), (0.35, 0.75), (1.0, 0.55))]
    loss = [np.zeros(p.shape[1], dtype=np.float32) for _ in steps]
    for solid in solids:
        if not solid.closes:
            continue
        inside = np.ones(p.shape[1], dtype=bool)
        for axis in range(3):
            inside &= p[axis] > solid.low[axis] - 1.6 * reach
            inside &= p[axis] < solid.high[axis] + 1.6 * reach
        near = np.nonzero(inside)[0]
        if not near.size:
            continue
        for k, (away, _) in enumerate(steps):
            h = solid.distance(p[:, near] + n[:, near] * np.float32(away))
            lost = np.clip(1.0 - h / away, 0.0, 1.0)
            loss[k][near] = np.maximum(loss[k][near], lost)
    for k, (_, weight) in enumerate(steps):
        closed = closed + (1 - closed) * loss[k] * np.float32(weight)
    return 1.0 - closed
