"""Shots whose right trims are known: framings of a scene, badly exposed and badly white.

Scenes are the demo's three sets, rendered anew from other places (true parallax), and, where the
samples are at hand, photographs and panoramas in scene light, framed anew. A framing is taken
by one of the demo's cameras with its exposure up to 1.5 stops off, its white set up to 1200 K
wrong (gains on the sensor's channels, as a camera makes them), its noise, its clipping, and a
person, cut from another scene, over 4 to 18 % of the frame.

The truth of a framing is the same taken rightly, without the person. The best trim that the truth
allows is the centre of the ratios to it: sensor gains are no gains on cones, so it is not perfect.
"""

from __future__ import annotations

import importlib
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
sys.path.insert(0, str(EXAMPLES))

from pottery import cameras  # noqa: E402
from pottery.render import Renderer  # noqa: E402
from pottery.spectra import black_body  # noqa: E402

from lookkit import load  # noqa: E402
from lookkit.accuracy.difference import delta_e_2000  # noqa: E402
from lookkit.balance.gains import TO_CONES  # noqa: E402
from lookkit.balance.pair import centre  # noqa: E402
from lookkit.balance.view import View, made_view  # noqa: E402
from lookkit.evaluate import Runner, evaluate  # noqa: E402
from lookkit.lattice.of_graph import light_of as light_of_output  # noqa: E402
from lookkit.spaces.encodings import encoding  # noqa: E402

LOOK = load(EXAMPLES / "pottery" / "pottery.toml")
SETS = {"kiln": "kiln", "flats": "flats", "blue-hour": "blue_hour"}
KELVIN = {"kiln": 3200.0}
FRAMINGS = ("hero", "pan", "tight", "side", "wide", "far")
TOP = {"A": 1023.0, "B": 255.0, "C": 65535.0}
SHOOT = {"A": cameras.camera_a, "B": cameras.camera_b, "C": cameras.camera_c}


@dataclass(frozen=True, eq=False)
class Place:
    """A scene: its name, the demo scene whose light it is under, and framings of nine channels."""

    name: str
    scene: str
    framings: dict[str, np.ndarray]


@dataclass(frozen=True, eq=False)
class Take:
    """One shot: its view, its light in AP1, and that of the same framing taken rightly."""

    view: View
    light: np.ndarray
    truth: np.ndarray
    seen: np.ndarray
    """Where neither the person nor clipping is, a mask."""
    best: np.ndarray
    """The best gain, log2 on cones."""
    card: tuple[int, int] | None = None
    """Column and row of the middle of its grey card."""


def bench_of(scene: str):
    return importlib.import_module(f"pottery.{SETS[scene]}").bench()


def rendered(scene: str, framing: str, width: int) -> np.ndarray:
    """Return nine channels of a set from another place, exposed as the demo is."""
    setup, _ = importlib.import_module(f"pottery.{SETS[scene]}").build()
    factor = cameras.exposure_factor(Renderer(setup).at_points(setup.grey_points), setup.bench)
    gain = factor * 2.0**setup.exposure
    right, up, _forward = setup.axes()
    way = float(np.linalg.norm(setup.target - setup.eye))
    moved = {
        "hero": (0.0, 0.0, 0.0, 1.0),
        "pan": (0.0, 0.22, 0.03, 1.0),
        "tight": (0.0, -0.05, -0.02, 0.6),
        "side": (0.13, 0.0, 0.0, 0.95),
        "wide": (0.0, 0.03, 0.0, 1.35),
        "far": (-0.1, -0.28, 0.05, 0.9),
    }[framing]
    eye = setup.eye + right * moved[0] * way
    target = setup.target + right * moved[1] * way + up * moved[2] * way
    setup = replace(setup, eye=eye, target=target, fov=setup.fov * moved[3])
    image, _ = Renderer(setup).picture(width, round(width * 9 / 16))
    return (image[..., :9] * np.float32(gain)).astype(np.float32)


def kept(scene: str, framing: str, width: int, folder: Path) -> np.ndarray:
    """Return `rendered`, from a file where it was made before."""
    path = folder / f"{scene}_{framing}_{width}.npy"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        np.save(path, rendered(scene, framing, width))
    return np.load(path)


def photographed(path: Path, width: int) -> dict[str, np.ndarray]:
    """Return framings of a photograph or a panorama in scene light, as the sensors would see it."""
    import cv2

    high = round(width * 9 / 16)
    if path.suffix == ".hdr":
        image = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., ::-1].astype(np.float32)
    else:
        import OpenImageIO as oiio

        image = np.asarray(oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT))[..., :3]
    draw = np.random.default_rng(sum(map(ord, path.name)))
    yaw = draw.uniform(0, 360)
    framed = {}
    for framing in FRAMINGS:
        if path.suffix == ".hdr":
            turn, tilt, field = {
                "hero": (0, 0, 75), "pan": (14, 2, 75), "tight": (-8, -3, 45),
                "side": (-18, 4, 70), "wide": (5, 0, 100), "far": (30, 0, 65),
            }[framing]  # fmt: skip
            framed[framing] = _turned(image, yaw + turn, tilt, field, width, high)
        else:
            x, y, share, roll = {
                "hero": (0.5, 0.5, 0.75, 0), "pan": (0.58, 0.5, 0.7, 0),
                "tight": (0.45, 0.52, 0.45, 2), "side": (0.42, 0.45, 0.7, -4),
                "wide": (0.5, 0.5, 0.95, 0), "far": (0.66, 0.55, 0.6, 3),
            }[framing]  # fmt: skip
            tall, wide = image.shape[:2]
            across = min(wide, tall * width / high) * share
            turn = cv2.getRotationMatrix2D((x * wide, y * tall), roll, width / across)
            turn[:, 2] += np.array([width / 2 - x * wide, high / 2 - y * tall])
            framed[framing] = cv2.warpAffine(
                image, turn, (width, high), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT
            )
    hero = np.maximum(framed["hero"] @ [0.2126, 0.7152, 0.0722], 1e-4)
    gain = 0.104 / np.exp(np.log(hero).mean())
    bench = bench_of("flats")
    to_ap0 = np.linalg.inv(encoding("ACES2065-1").to_ap1) @ encoding("sRGB").to_ap1
    back = [np.linalg.inv(cameras.colour_matrix(bench, camera)) for camera in "ABC"]
    found = {}
    for framing, one in framed.items():
        light = np.maximum(one, 0) * gain
        parts = [light @ to_ap0.T @ back[0].T, light @ back[1].T, light @ back[2].T]
        found[framing] = np.maximum(np.concatenate(parts, axis=-1), 0).astype(np.float32)
    return found


def _turned(image, yaw, tilt, field, width, high):
    """Return a view into a panorama, longitude by latitude; angles in degrees."""
    import cv2

    focal = width / 2 / np.tan(np.radians(field / 2))
    x, y = np.meshgrid(np.arange(width) - width / 2 + 0.5, np.arange(high) - high / 2 + 0.5)
    ways = np.stack([x / focal, y / focal, np.ones_like(x)])
    a, b = np.radians(tilt), np.radians(yaw)
    down, ahead = (
        ways[1] * np.cos(a) - ways[2] * np.sin(a),
        ways[1] * np.sin(a) + ways[2] * np.cos(a),
    )
    side, ahead = ways[0] * np.cos(b) + ahead * np.sin(b), ahead * np.cos(b) - ways[0] * np.sin(b)
    column = (np.arctan2(side, ahead) / (2 * np.pi) + 0.5) * image.shape[1] % image.shape[1]
    row = (np.arctan2(down, np.hypot(side, ahead)) / np.pi + 0.5) * image.shape[0]
    return cv2.remap(
        image, column.astype(np.float32), row.astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_WRAP,
    )  # fmt: skip


def code_of(image, scene: str, camera: str, stops: float, kelvin: float, seed: int):
    """Return a camera's codes 0-1 of nine channels: exposure off by stops, white by kelvin."""
    bench = bench_of(scene)
    column = 3 * "ABC".index(camera)
    weights = bench.weights()[:, column : column + 3]
    right = KELVIN.get(scene, 5600.0)
    gains = (black_body(right) @ weights) / (black_body(right + kelvin) @ weights)
    moved = image.copy()
    moved[..., column : column + 3] *= (gains / gains[1]).astype(np.float32)
    return SHOOT[camera](moved, bench, 2.0**stops, seed) / TOP[camera]


def light_of(code, camera: str, scene: str):
    return Runner(LOOK.graph.camera(camera, scene)).run(code.astype(np.float32))


def view_of(code, camera: str, scene: str) -> View:
    return made_view(
        code.astype(np.float32), Runner(LOOK.graph.camera(camera, scene)),
        display_ready=camera == "C", linear=False,
    )  # fmt: skip


def take(
    image, scene: str, camera: str, stops: float, kelvin: float, seed: int, other=None, *,
    card: bool = False,
) -> Take:  # fmt: skip
    """Return a shot with its truth; `other` is the scene a person is cut from, or None.

    A `card` is a grey one, a sixteenth of the frame wide, held anywhere into the light that the
    camera is set to, up to a stop more or less of it; nobody stands before it.
    """
    draw = np.random.default_rng(seed)
    shown, free = image, np.ones(image.shape[:2], bool)
    if other is not None:
        shown, free = _with_person(image, other, draw)
    middle = None
    if card:
        half = image.shape[1] // 32
        middle = tuple(int(draw.integers(2 * half, one - 2 * half)) for one in image.shape[1::-1])
        here = tuple(slice(one - half, one + half + 1) for one in reversed(middle))
        shown, image = shown.copy(), image.copy()
        # A channel is 1 where a perfect white stands in the light that its camera is set to.
        shown[here] = image[here] = 0.18 * 2.0 ** draw.uniform(-1.0, 1.0)
        free[here] = True
    code = code_of(shown, scene, camera, stops, kelvin, seed)
    right = code_of(image, scene, camera, 0.0, 0.0, seed + 1)
    light, truth = light_of(code, camera, scene), light_of(right, camera, scene)
    view, true = view_of(code, camera, scene), view_of(right, camera, scene)
    import cv2

    small = cv2.resize(free.astype(np.uint8), view.size, interpolation=cv2.INTER_NEAREST) > 0
    sure = view.sure & true.sure & small
    ratio = np.log2(true.cones[sure] / view.cones[sure])
    best, _ = centre(ratio, 1.0 / (0.05 + true.edges[sure]))
    end = 0.985 if camera != "A" else code.max() - 0.004
    seen = free & (code < end).all(axis=-1) & (right < end).all(axis=-1)
    return Take(view, light, truth, seen, best, middle)


def _with_person(image, other, draw):
    high, wide = image.shape[:2]
    area = draw.uniform(0.04, 0.18) * high * wide
    tall = min(np.sqrt(area / np.pi * draw.uniform(1.5, 3.0)), high * 0.6)
    broad = area / np.pi / tall
    x, y = draw.uniform(0.15, 0.85) * wide, draw.uniform(0.5, 0.9) * high
    row, column = np.mgrid[:high, :wide]
    inside = ((column - x) / broad) ** 2 + ((row - y) / tall) ** 2 < 1
    made = image.copy()
    shift = (int(draw.integers(high)), int(draw.integers(wide)))
    made[inside] = np.roll(other, shift, (0, 1))[inside] * np.float32(draw.uniform(0.5, 1.5))
    return made, ~inside


def trimmed(light, gain):
    """Return AP1 light whose cones are multiplied by 2^gain."""
    back = np.linalg.inv(TO_CONES)
    return light @ (TO_CONES.T * 2.0 ** np.asarray(gain)) @ back.T


def delta(light, truth, seen) -> tuple[float, float]:
    """Return mean and 95 % of Delta E 2000 of 5x5 pixels, through the plain print."""
    first, second = _blocks(light), _blocks(truth)
    kept = _blocks(seen[..., None].astype(np.float64))[..., 0] > 0.99
    steps = PLAIN.graph.chain("light", "web")
    screen = light_of_output(PLAIN.graph.output("web"))
    labs = [screen.lab(evaluate(steps, one[kept])) for one in (first, second)]
    found = delta_e_2000(*labs)
    return float(found.mean()), float(np.quantile(found, 0.95))


def _blocks(values, size: int = 5):
    high, wide = (one // size for one in values.shape[:2])
    cut = values[: high * size, : wide * size].astype(np.float64)
    return cut.reshape(high, size, wide, size, -1).mean(axis=(1, 3))


PLAIN = importlib.import_module("lookkit").loads(
    'schema = 1\nname = "p"\nextends = "plain-print"\n[cameras.light]\nencoding = "ACEScg"\n'
    '[outputs.web]\noutput = "sRGB"\n'
)
