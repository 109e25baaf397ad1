"""What fitting gains on material that no term of it was tuned on.

    python tests/benchmarks/held_back.py [--sizes 17 33 65] [--cameras V-Log ...]

Each line is a look, a camera and a size; each figure is fitted / sampled. Pictures are mixtures of
materials under many lights, drawn otherwise than the sets of fits and audits; photographs of the
samples folder (LOOKKIT_SAMPLES) join them where it is. Then whatever came out worse than sampled by
more than 3 %, and more than can be seen. Last, the time of a fit and certificate by the Baker's.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.accuracy.audit import Audited
from lookkit.accuracy.interpolate import READERS, Reader
from lookkit.accuracy.samples import neutral_ramp, to_code
from lookkit.accuracy.sampling import sample
from lookkit.accuracy.truth import steady
from lookkit.handoff.build import build
from lookkit.lattice.of_graph import Baking
from lookkit.look import Look
from lookkit.ocio import library
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.level import stops_of
from lookkit.spaces.working import AP0_TO_AP1, MID_GREY, Array

LOOKS: Final = ("plain-print", "warm-print")
CAMERAS: Final = ("V-Log", "Apple Log", "Log3G10", "S-Log3/S-Gamut3", "LogC4")
FIGURES: Final = ("mean", "99.9 %", "largest", "99 % of codes", "largest of codes")
SEEN: Final = (0.02, 0.02, 0.02, 0.2, 0.2)
"""Delta E 2000 and ten-bit codes by which a figure may rise unseen."""


def look_of(name: str, camera: str) -> Look:
    """Return a shipped look from a camera to a monitor."""
    text = (
        f'schema = 1\nname = "x"\nextends = "{name}"\n[cameras.A]\nencoding = "{camera}"\n'
        '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
        '[deliver]\nformats = ["config"]\nfit = false\ncertify = false\n'
    )
    return Look(parse_recipe(text), text)


def baking(look: Look) -> Baking:
    """Return its chain, ready to be baked."""
    graph = look.graph
    ends = graph.input_transform("A"), graph.output("monitor")
    return Baking.of(graph.chain("A", "monitor"), *ends)


def pictures(rng: np.random.Generator, count: int) -> Array:
    """Draw mixtures of two of 400 materials under 40 lights, AP1, shape (count, 3)."""
    materials = 0.02 + 0.8 * rng.random((400, 3)) ** 1.5
    tints = np.exp(rng.normal(0.0, 0.25, (40, 3)))
    one, other = materials[rng.integers(0, 400, (2, count))]
    share = rng.beta(0.3, 0.3, (count, 1))
    level = np.exp2(rng.uniform(-4.0, 2.5, (count, 1))) * np.where(
        rng.random((count, 1)) < 0.04, 8.0, 1.0
    )
    scene = (share * one + (1.0 - share) * other) * tints[rng.integers(0, 40, count)] * level
    return np.asarray(scene + rng.normal(0.0, 0.001, (count, 3)))


def photographs() -> Array | None:
    """Return pixels of the sample photographs, their middles at .15, AP1; None without them."""
    folder = os.environ.get("LOOKKIT_SAMPLES")
    if folder is None:
        return None
    import OpenImageIO as oiio

    found = []
    for path in sorted([*Path(folder).glob("exr/*.exr"), *Path(folder).glob("hdr/*.hdr")]):
        pixels = oiio.ImageBuf(str(path)).get_pixels(oiio.FLOAT)[..., :3].reshape(-1, 3)
        pixels = pixels[np.isfinite(pixels).all(axis=1)].astype(np.float64) @ AP0_TO_AP1.T
        pixels = pixels[np.random.default_rng(5).integers(0, len(pixels), 12_000)]
        found.append(pixels * (0.15 / max(float(np.median(np.abs(pixels).max(axis=1))), 1e-4)))
    return np.concatenate(found) if found else None


def lamps(rng: np.random.Generator, count: int, below: float) -> Array:
    """Draw coloured lights whose weakest channel is down to `below` of the largest."""
    turn = rng.random(count)[:, None] - np.array([0.0, 1.0, 2.0]) / 3.0
    hue = np.clip(2.0 - 6.0 * np.abs((turn + 0.5) % 1.0 - 0.5), 0.0, 1.0)
    least = rng.uniform(min(below, 0.0), max(below, 0.0), (count, 1))
    return np.asarray(
        (least + (1.0 - least) * hue) * MID_GREY * np.exp2(rng.uniform(-5.0, 6.5, (count, 1)))
    )


def skies(rng: np.random.Generator, count: int, top: float) -> Array:
    """Draw mixtures of blue, haze and sunset from a stop over mid-grey to `top`."""
    ends = np.array([[0.25, 0.45, 1.0], [1.0, 0.95, 0.9], [1.0, 0.45, 0.12]])
    level = np.exp2(rng.uniform(1.0, max(top, 2.0) + 0.3, (count, 1)))
    return np.asarray(rng.dirichlet([0.7, 0.7, 0.3], count) @ ends * MID_GREY * level)


def material(source: Baking) -> dict[str, Audited]:
    """Draw everything, with what the chain makes of it."""
    rng, space = np.random.default_rng(7001), source.space
    top = float(stops_of(space.decode(np.ones((1, 3))))[0])
    drawn = to_code(space, pictures(rng, 60_000))
    faces, rows = drawn[:20_000].copy(), np.arange(20_000)
    up = rng.random(len(faces)) < 0.5
    faces[rows, np.where(up, faces.argmax(axis=1), faces.argmin(axis=1))] = up
    dark = to_code(space, lamps(rng, 20_000, 0.5))
    dark[:, 2] = 0.03 * rng.random(len(dark))
    codes = {
        "pictures": drawn,
        "grey ramp": neutral_ramp(3001),
        "lights": to_code(space, lamps(rng, 20_000, 0.5)),
        "negative lights": to_code(space, lamps(rng, 20_000, -0.1)),
        "skies": to_code(space, skies(rng, 20_000, top)),
        "clipped": faces,
        "blue near 0": dark,
        "any code": rng.random((60_000, 3)),
    }
    photos = photographs()
    if photos is not None:
        codes["photographs"] = to_code(space, photos)
    exact = steady(source.exact)
    return {name: Audited(code, exact(code), source.light) for name, code in codes.items()}


def figures(one: Audited, lattice: Array, reader: Reader) -> tuple[float, ...]:
    """Return the figures of `FIGURES`."""
    read = one.read(lattice, reader)
    seen = one.delta_e_2000(read)
    codes = 1023.0 * np.abs(read - one.signal).max(axis=1)
    ends = (float(seen.max()), float(np.quantile(codes, 0.99)), float(codes.max()))
    return (float(seen.mean()), float(np.quantile(seen, 0.999)), *ends)


def compare(name: str, camera: str, sizes: list[int]) -> int:
    """Print a look from a camera; return how many figures came out worse."""
    source = baking(look_of(name, camera))
    drawn, count = material(source), 0
    for size in sizes:
        plain = sample(steady(source.exact), size)
        fitted = source.bake(size, fit=True)
        print(f"\n{name} from {camera}, {size} points")
        worse = []
        for reader in READERS:
            words = []
            for what, one in drawn.items():
                before, after = (figures(one, lattice, reader) for lattice in (plain, fitted))
                if what in ("pictures", "photographs"):
                    words.append(f"{what} mean {after[0] / before[0]:.2f}")
                    words.append(f"99.9 % {after[1] / before[1]:.2f}")
                elif what == "grey ramp":
                    words.append(f"grey ramp largest {after[2] / before[2]:.2f}")
                elif what == "lights":
                    words.append(f"lights 99 % {after[3]:.0f} codes, sampled {before[3]:.0f}")
                for figure, now, then, seen in zip(FIGURES, after, before, SEEN, strict=True):
                    if now > 1.03 * then + seen:
                        worse.append(f"{reader}, {what}, {figure}: {now:.2f}, sampled {then:.2f}")
            print(f"  {reader:12} " + ", ".join(words))
        print("".join(f"  worse: {line}\n" for line in worse), end="", flush=True)
        count += len(worse)
    return count


def times() -> None:
    """Print the processor time of fits and certificates by that of OpenColorIO's Baker."""
    look, ocio = look_of("warm-print", "V-Log"), library()
    with tempfile.TemporaryDirectory() as place:
        folder = build(look, Path(place) / "config").folder
        config = ocio.Config.CreateFromFile(str(folder / "ocio/config.ocio"))

        def bake(size: int) -> None:
            baker = ocio.Baker()
            baker.setConfig(config)
            baker.setFormat("iridas_cube")
            baker.setInputSpace("Camera A")
            baker.setDisplayView(look.graph.output("monitor").name, look.recipe.name)
            baker.setCubeSize(size)
            baker.bake(str(Path(place) / "baked.cube"))

        def ours(size: int) -> None:
            source = baking(look)
            source.certify(source.bake(size, fit=True))

        for size in (33, 65):
            took, theirs = (worked(one, size) for one in (ours, bake))
            print(f"\nfit and certificate, {size} points: {took:.2f} s of processor, ", end="")
            print(f"{took / theirs:.0f} x the Baker's {theirs:.3f} s")


def worked(job: Callable[[int], None], size: int) -> float:
    """The median processor time of three runs, in seconds."""
    spent = []
    for _ in range(3):
        began = time.process_time()
        job(size)
        spent.append(time.process_time() - began)
    return statistics.median(spent)


def main() -> None:
    """Parse the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="*", default=[17, 33, 65])
    parser.add_argument("--cameras", nargs="*", default=list(CAMERAS))
    given = parser.parse_args()
    count = sum(compare(look, one, given.sizes) for one in given.cameras for look in LOOKS)
    print(f"\n{count} figures worse than sampled")
    times()


if __name__ == "__main__":
    main()
