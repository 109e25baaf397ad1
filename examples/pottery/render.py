"""From a set-up (solids, lights, air) to a picture of every camera's raw channels at once.

Light travels as spectra: each mixture of reflectances under each source is one row of
twelve integrals (three raw channels for each of three cameras, then XYZ), so a
pixel is a weighted sum of rows and the spectra themselves never fill a picture.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pottery.solids import (
    Points,
    Solid,
    Surface,
    dot,
    length,
    lit,
    openness,
    trace,
    unit,
    vec,
)
from pottery.spectra import CHANNELS, Bench

Glow = dict[str, np.ndarray]
"""Source name to amount of light (n,)."""


@dataclass
class Light:
    """A round lamp.

    `power` is the radiance that a perfect white shows at 1 m, facing it; `beam` weights
    the direction away from the lamp.
    """

    source: str
    at: np.ndarray
    power: float
    size: float
    beam: Callable[[Points], np.ndarray] | None = None


@dataclass
class SetUp:
    """One place under one light, and the view of it.

    Attributes
    ----------
    fov
        Height of the view in degrees.
    exposure
        Stops by which the chart is exposed above its reflectance.
    focus, softness
        Distance beyond which the picture softens, and the blur far away in pixels.
    grey_points
        Points on the chart's neutral 5 patch, (3, n).
    points
        Places worth sampling, by name.
    reach
        Distance over which corners darken.
    """

    name: str
    bench: Bench
    eye: np.ndarray
    target: np.ndarray
    fov: float
    solids: list[Solid]
    lights: list[Light]
    ambient: Callable[[Points, Points], Glow]
    backdrop: Callable[[Points, Points], Glow]
    exposure: float
    focus: float
    softness: float
    grey_points: np.ndarray
    points: dict[str, np.ndarray]
    reach: float = 0.3

    def axes(self) -> np.ndarray:
        """Return right, up and forward as rows."""
        forward = unit(self.target - self.eye)
        right = unit(np.cross(forward, vec(0, 1, 0)))
        return np.stack([right, np.cross(right, forward), forward]).astype(np.float32)

    def rays(self, x: np.ndarray, y: np.ndarray, width: int, height: int) -> Points:
        """Return directions through pixel positions (x right, y down, from the top left)."""
        right, up, forward = self.axes()
        scale = np.tan(np.radians(self.fov) / 2) * 2 / height
        a = ((x - width / 2) * scale).astype(np.float32)
        b = ((height / 2 - y) * scale).astype(np.float32)
        d = right[:, np.newaxis] * a + up[:, np.newaxis] * b + forward[:, np.newaxis]
        return unit(d)

    def project(self, p: np.ndarray, width: int, height: int) -> np.ndarray:
        """Return pixel positions (n, 2) of world points (3, n)."""
        q = self.axes() @ (np.asarray(p, np.float32) - self.eye[:, np.newaxis])
        scale = height / (2 * np.tan(np.radians(self.fov) / 2))
        return np.stack([width / 2 + q[0] / q[2] * scale, height / 2 - q[1] / q[2] * scale], 1)


Known = Callable[[np.ndarray, Points, np.ndarray], np.ndarray]
BATCH = 300_000
"""Rays at a time, to bound memory."""


def _span(plane: np.ndarray) -> np.ndarray:
    return ndimage.maximum_filter(plane, 3) - ndimage.minimum_filter(plane, 3)


class Renderer:
    """Shoots rays into a set-up and returns channels."""

    def __init__(self, setup: SetUp) -> None:
        self.setup = setup
        self.emitted, self.reflected = setup.bench.tables()
        self.solids = setup.solids

    def _channels(self, glow: Glow, count: int) -> np.ndarray:
        out = np.zeros((count, CHANNELS), dtype=np.float32)
        for source, amount in glow.items():
            out += np.multiply.outer(np.broadcast_to(amount, (count,)), self.emitted[source])
        return out

    def look(
        self, o: Points, d: Points, depth: int = 0, known: Known | None = None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return channels (n, 12) and distances (n,) along rays; `o` is (3, n) or (3, 1)."""
        count = d.shape[1]
        o = np.ascontiguousarray(np.broadcast_to(o, d.shape))
        t, which = trace(self.solids, o, d)
        out = np.zeros((count, CHANNELS), dtype=np.float32)
        away = which < 0
        if away.any():
            out[away] = self._channels(self.setup.backdrop(o[:, away], d[:, away]), int(away.sum()))
        met = np.nonzero(~away)[0]
        if met.size:
            p = o[:, met] + d[:, met] * t[met]
            seen = None if known is None else known(met, p, which[met])
            out[met] = self._shade(p, d[:, met], which[met], depth, seen)
        return out, t

    def reach(self, start: Points, geometric: Points) -> np.ndarray:
        """Return how much of each light, and last of the air, reaches points: (lights + 1, n)."""
        seen = np.ones((len(self.setup.lights) + 1, start.shape[1]), dtype=np.float32)
        for k, light in enumerate(self.setup.lights):
            way = light.at[:, np.newaxis] - start
            on = dot(geometric, way) > -0.4 * length(way)
            if light.beam is not None:
                on &= light.beam(-unit(way)) > 1e-3
            on = np.nonzero(on)[0]
            if on.size:
                seen[k, on] = lit(self.solids, start[:, on], light.at, light.size)
        seen[-1] = openness(self.solids, start, geometric, self.setup.reach)
        return seen

    def _shade(
        self,
        p: Points,
        d: Points,
        which: np.ndarray,
        depth: int,
        seen: np.ndarray | None,
    ) -> np.ndarray:
        count = p.shape[1]
        geometric = np.empty_like(p)
        bumped = np.empty_like(p)
        gloss = np.zeros(count, dtype=np.float32)
        rough = np.ones(count, dtype=np.float32)
        flesh = np.zeros(count, dtype=np.float32)
        parts: list[tuple[np.ndarray, Surface]] = []
        for index in np.unique(which):
            here = np.nonzero(which == index)[0]
            solid = self.solids[index]
            n = solid.normal(p[:, here])
            surface = solid.paint(p[:, here], n)
            geometric[:, here] = n
            bumped[:, here] = n if surface.normal is None else surface.normal
            gloss[here] = surface.gloss
            rough[here] = surface.rough
            flesh[here] = surface.flesh
            parts.append((here, surface))

        start = p + geometric * np.float32(0.004)
        facing = np.clip(-dot(bumped, d), 0.0, 1.0)
        fresnel = (0.04 + 0.96 * (1 - facing) ** 5) * gloss
        mirror = (rough < 0.1) & (gloss > 0)
        if seen is None:
            seen = self.reach(start, geometric)
        else:
            blank = np.nonzero(np.isnan(seen[0]))[0]
            if blank.size:
                seen[:, blank] = self.reach(start[:, blank], geometric[:, blank])
        free = seen[-1]

        arriving: Glow = {}
        wrapped: Glow = {}
        shine: Glow = {}
        for source, amount in self.setup.ambient(p, bumped).items():
            arriving[source] = amount * free
        for light, share in zip(self.setup.lights, seen[:-1], strict=True):
            self._add_light(
                light,
                share,
                start,
                bumped,
                d,
                (gloss, rough, mirror, flesh),
                arriving,
                wrapped,
                shine,
            )

        out = np.zeros((count, CHANNELS), dtype=np.float32)
        for here, surface in parts:
            keep = (1 - fresnel[here])[:, np.newaxis]
            total = np.zeros((here.size, CHANNELS), dtype=np.float32)
            mix = surface.mix.astype(np.float32)
            for source, amount in arriving.items():
                rows = mix @ self.reflected[source](surface.names)
                total += rows * amount[here][:, np.newaxis]
            if surface.flesh:
                for source, amount in wrapped.items():
                    inner = (surface.within,) * len(surface.names)
                    rows = mix @ self.reflected[source](inner if surface.within else surface.names)
                    total += rows * amount[here][:, np.newaxis]
            out[here] = total * keep
            if surface.glow:
                out[here] += self._channels(surface.glow, here.size)
        if shine:
            out += self._channels(shine, count)

        satin = np.nonzero((fresnel > 0.01) & ~mirror & (rough < 0.5))[0]
        if satin.size:
            bent = bumped[:, satin]
            bounce = d[:, satin] - 2 * bent * dot(bent, d[:, satin])
            share = fresnel[satin] * free[satin] * (1 - rough[satin])
            air = self.setup.backdrop(p[:, satin], unit(bounce))
            out[satin] += self._channels({s: a * share for s, a in air.items()}, satin.size)
        if depth == 0 and mirror.any():
            m = np.nonzero(mirror & (fresnel > 0.004))[0]
            bounce = d[:, m] - 2 * bumped[:, m] * dot(bumped[:, m], d[:, m])
            under = dot(bounce, geometric[:, m])
            bounce = unit(bounce + geometric[:, m] * np.maximum(0.02 - under, 0))
            seen, _ = self.look(start[:, m], bounce, depth + 1)
            out[m] += seen * fresnel[m][:, np.newaxis]
        elif depth > 0:
            m = np.nonzero(mirror)[0]
            if m.size:
                bounce = d[:, m] - 2 * bumped[:, m] * dot(bumped[:, m], d[:, m])
                air = self._channels(self.setup.backdrop(p[:, m], bounce), m.size)
                out[m] += air * (fresnel[m] * free[m] * 0.5)[:, np.newaxis]
        return out

    def _add_light(self, light, share, start, n, d, coat, arriving, wrapped, shine) -> None:
        gloss, rough, mirror, flesh = coat
        way = light.at[:, np.newaxis] - start
        far = length(way)
        to = way / far
        slope = dot(n, to)
        strength = light.power / (far * far)
        if light.beam is not None:
            strength = strength * light.beam(-to)
        soft = 0.35 * flesh
        strength = strength * share
        lambert = np.maximum(slope, 0)
        if flesh.any():
            bent = np.maximum(slope + soft, 0) / (1 + soft)
            extra = np.maximum(bent * bent - lambert * 0.92, 0) * (flesh > 0)
            wrapped[light.source] = wrapped.get(light.source, 0) + extra * strength * 0.55
        arriving[light.source] = arriving.get(light.source, 0) + lambert * strength
        half = unit(to - d)
        power = np.clip(2 / np.maximum(rough, 0.05) ** 2 - 2, 2, 900)
        lobe = (power + 2) / 8 * np.maximum(dot(n, half), 0) ** power
        edge = 0.04 + 0.96 * (1 - np.clip(dot(half, to), 0, 1)) ** 5
        spot = strength * lobe * edge * gloss * np.minimum(lambert * 4, 1) * ~mirror
        shine[light.source] = shine.get(light.source, 0) + spot

    # --- pictures -------------------------------------------------------------------------

    def picture(
        self, width: int, height: int, tell: Callable[[str], None] = lambda _: None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return channels (height, width, 12) and distances (height, width).

        One ray a pixel, then eight more where neighbours differ.
        """
        y, x = np.mgrid[0:height, 0:width].reshape(2, -1)
        store = _Store(self, width, height)
        image, far, which = self._shoot(x + 0.5, y + 0.5, width, height, store)
        frame = image.reshape(height, width, CHANNELS)
        tone = np.log2(frame[..., -2] + 0.004)
        tint = np.log2((frame[..., 0] + 0.004) / (frame[..., 2] + 0.004))
        rough = np.zeros((height, width), dtype=bool)
        edge = _span(which.reshape(height, width).astype(np.float32)) > 0
        for plane, limit in ((tone, 0.14), (tint, 0.25)):
            span = _span(plane)
            rough |= (span > limit) & edge | (span > 6 * limit)
        busy = np.nonzero(rough.ravel())[0]
        tell(f"{self.setup.name}: {100 * busy.size / rough.size:.0f} % of pixels refined")
        corners = ((0.36, 0.10), (0.90, 0.36), (0.64, 0.90), (0.10, 0.64))
        more = self._shoot(
            np.concatenate([x[busy] + dx for dx, _ in corners]),
            np.concatenate([y[busy] + dy for _, dy in corners]),
            width,
            height,
            store,
        )[0].reshape(len(corners), busy.size, CHANNELS)
        image[busy] = (image[busy] + more.sum(axis=0)) / (len(corners) + 1)
        return frame, far.reshape(height, width)

    def _shoot(self, x, y, width, height, store) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        image = np.empty((x.size, CHANNELS), dtype=np.float32)
        far = np.empty(x.size, dtype=np.float32)
        which = np.full(x.size, -1, dtype=np.int16)
        eye = self.setup.eye[:, np.newaxis]
        for a in range(0, x.size, BATCH):
            part = slice(a, a + BATCH)
            d = self.setup.rays(x[part], y[part], width, height)

            def known(met, p, solid, part=part) -> np.ndarray:
                which[part][met] = solid
                return store(x[part][met], y[part][met], p, solid)

            image[part], far[part] = self.look(eye, d, known=known)
        return image, far, which

    def at_points(self, p: Points) -> np.ndarray:
        """Return the mean channels (12,) of the world points (3, n) as the viewer sees them."""
        eye = self.setup.eye[:, np.newaxis]
        return self.look(eye, unit(p - eye))[0].mean(axis=0)

    def light_at(self, p: Points, n: Points, without: Sequence[str] = ()) -> Glow:
        """Return the light of each source that reaches points with normals, shape (n,)."""
        free = openness(self.solids, p, n, self.setup.reach)
        total: Glow = {s: a * free for s, a in self.setup.ambient(p, n).items()}
        for light in self.setup.lights:
            way = light.at[:, np.newaxis] - p
            far = length(way)
            strength = light.power / far**2 * np.maximum(dot(n, way / far), 0)
            if light.beam is not None:
                strength = strength * light.beam(-way / far)
            strength = strength * lit(self.solids, p, light.at, light.size)
            total[light.source] = total.get(light.source, 0) + strength
        return {s: a for s, a in total.items() if s not in without}


class _Store:
    """Shadows and openness at every second pixel, read between on the same solid."""

    def __init__(self, renderer: Renderer, width: int, height: int) -> None:
        self.columns, self.rows = -(-width // 2) + 1, -(-height // 2) + 1
        y, x = np.mgrid[0 : self.rows, 0 : self.columns].reshape(2, -1)
        setup = renderer.setup
        d = setup.rays(2.0 * x, 2.0 * y, width, height)
        eye = setup.eye[:, np.newaxis]
        o = np.ascontiguousarray(np.broadcast_to(eye, d.shape))
        t, self.which = trace(renderer.solids, o, d)
        met = np.nonzero(self.which >= 0)[0]
        self.p = np.full_like(d, 1e6)
        self.p[:, met] = o[:, met] + d[:, met] * t[met]
        self.seen = np.zeros((len(setup.lights) + 1, d.shape[1]), dtype=np.float32)
        normal = np.empty((3, met.size), dtype=np.float32)
        for index in np.unique(self.which[met]):
            here = np.nonzero(self.which[met] == index)[0]
            normal[:, here] = renderer.solids[index].normal(self.p[:, met[here]])
        start = self.p[:, met] + normal * np.float32(0.004)
        self.seen[:, met] = renderer.reach(start, normal)
        self.pixel = 2 * np.tan(np.radians(setup.fov) / 2) / height
        self.eye = eye
        self.flat = np.array([solid.is_box for solid in renderer.solids])

    def __call__(self, x: np.ndarray, y: np.ndarray, p: Points, which: np.ndarray) -> np.ndarray:
        """Return (lights + 1, n), NaN where no neighbour is on the same piece of surface."""
        column = np.clip((x / 2).astype(np.int32), 0, self.columns - 2)
        row = np.clip((y / 2).astype(np.int32), 0, self.rows - 2)
        fx, fy = x / 2 - column, y / 2 - row
        total = np.zeros((self.seen.shape[0], x.size), dtype=np.float32)
        weight = np.zeros(x.size, dtype=np.float32)
        limit = 9.0 * self.pixel * length(p - self.eye)
        limit[self.flat[which]] = np.inf
        for dx in (0, 1):
            for dy in (0, 1):
                k = (row + dy) * self.columns + column + dx
                w = np.abs(1 - dx - fx) * np.abs(1 - dy - fy) + 1e-3
                off = np.abs(self.p[:, k] - p).max(axis=0)
                w = (w * ((self.which[k] == which) & (off < limit))).astype(np.float32)
                total += self.seen[:, k] * w
                weight += w
        with np.errstate(invalid="ignore"):
            return np.where(weight > 0, total / weight, np.nan)


def soften(image: np.ndarray, far: np.ndarray, setup: SetUp, width: int) -> np.ndarray:
    """Blur what lies behind the focus a little, without letting the front bleed into it."""
    blur = setup.softness * width / 960 * np.clip(1 - setup.focus / far, 0, 1)
    out = image
    for sigma in (0.8, 1.6, 2.6, 4.0):
        size = sigma * width / 960
        share = np.clip((blur / (width / 960) - sigma * 0.6) / (sigma * 0.4), 0, 1)
        if not (share > 0).any():
            break
        mask = (share > 0).astype(np.float32)
        weight = ndimage.gaussian_filter(mask, size, truncate=2.6)
        blurred = np.empty_like(image)
        for k in range(image.shape[2]):
            blurred[..., k] = ndimage.gaussian_filter(image[..., k] * mask, size, truncate=2.6)
        blurred /= np.maximum(weight, 1e-4)[..., np.newaxis]
        out = out + (blurred - out) * (share * mask)[..., np.newaxis]
    return out
