"""How close adopted looks come: to the source at the colours of pictures, and to the known look.

    python tests/benchmarks/adopt.py [looks] [random] [fresh] [aces] [files]

Each look is sampled into a .cube of 33 points for LogC4, adopted, and the recipe held against the
.cube and against the look itself, on pixels of real photographs (LOOKKIT_SAMPLES) at -1, 0 and +1
stop. "cube" is how far the .cube, read as readers do, is from its own look. Delta E 2000, mean and
95 %.
"random" are made looks by which the fit was bettered, "fresh" others that nothing was chosen by.
"carried" is the mean's change with S-Log3 instead, on light that LogC4's look and S-Log3 both hold.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import OpenImageIO as oiio

from lookkit.accuracy.difference import delta_e_2000
from lookkit.adopt.run import CAMERA, OUTPUT, adopt_lut
from lookkit.errors import LookkitError
from lookkit.look import loads, shipped_looks
from lookkit.spaces.encodings import encoding
from lookkit.spaces.level import luminance
from lookkit.spaces.primaries import AP1, BT709, between
from tests.adopt.sources import bake_builtins, bake_look
from tests.conftest import samples_folder

SHOWN = "Rec.709 BT.1886"
TO_1886 = "DISPLAY - CIE-XYZ-D65_to_REC.1886-REC.709"
FROM_ACES = "ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - "
HEAD = (
    'schema = 1\nname = "Known"\n{start}\n[cameras.A]\nencoding = "LogC4"\n[cameras.B]\n'
    'encoding = "S-Log3/S-Gamut3.Cine"\n[outputs.main]\noutput = "Rec.709 BT.1886"\n{look}'
)
PICTURES = (
    "exr/Carrots.exr", "exr/StillLife.exr", "exr/Desk.exr", "exr/Cannon.exr",
    "hdr/dikhololo_night.hdr", "hdr/forest_slope.hdr", "hdr/lebombo.hdr",
)  # fmt: skip


def pixels() -> np.ndarray:
    """Scene light of the photographs, AP1, their geometric mean at 0.12."""
    rng, found = np.random.default_rng(1), []
    for name in PICTURES:
        picture = oiio.ImageBuf(str(samples_folder() / name)).get_pixels(oiio.FLOAT)
        rows = picture[..., :3].reshape(-1, 3).astype(np.float64)
        rows = np.nan_to_num(rows[rng.integers(0, len(rows), 1500)])
        rows = rows @ between(BT709, AP1, "bradford").T
        middle = np.exp(np.mean(np.log(np.maximum(luminance(rows), 1e-4))))
        gain = min(max(0.12 / middle, 0.05), 20.0)
        found.append(rows * gain * 2.0 ** rng.choice([-1, 0, 1], (len(rows), 1)))
    return np.concatenate(found)


def figures(off: np.ndarray) -> str:
    return f"{off.mean():.2f}/{np.quantile(off, 0.95):.2f}"


def told(name, cube, truth, scene, folder) -> None:
    """Adopt one .cube and print how close it is; `truth` is the look at scene light and camera."""
    began, busy = time.time(), time.process_time()
    try:
        made = adopt_lut(cube, folder / f"{cube.stem}.toml", camera="LogC4", shown=SHOWN)
    except LookkitError as error:
        print(f"{name:24} refused: {error}", flush=True)
        return
    took = f"{time.time() - began:.0f} s, {time.process_time() - busy:.0f} s CPU"
    light = made.source.light
    code = np.clip(encoding("LogC4").encode(scene), 0.0, 1.0)
    at_cube = light.lab(made.source.signal(code))
    seen = {
        what: light.lab(look.evaluate(code, camera=CAMERA, output=OUTPUT))
        for what, look in (("nodes", made.bare), ("whole", made.look))
    }
    parts = [f"nodes to cube {figures(delta_e_2000(seen['nodes'], at_cube))}",
             f"whole to cube {figures(delta_e_2000(seen['whole'], at_cube))}"]  # fmt: skip
    if truth is not None:
        own = light.lab(truth(scene, "A"))
        parts += [f"cube {figures(delta_e_2000(at_cube, own))}",
                  f"nodes {figures(delta_e_2000(seen['nodes'], own))}",
                  f"whole {figures(delta_e_2000(seen['whole'], own))}"]  # fmt: skip
        text = made.look.text.replace(
            "[cameras.source]", '[cameras.B]\nencoding = "S-Log3/S-Gamut3.Cine"\n\n[cameras.source]'
        )
        carried = loads(text, folder=folder)
        cine = encoding("S-Log3/S-Gamut3.Cine")
        clipped = np.clip(cine.encode(scene), 0.0, 1.0)
        other = light.lab(carried.evaluate(clipped, camera="B", output=OUTPUT))
        off = delta_e_2000(other, light.lab(truth(scene, "B")))
        first = delta_e_2000(seen["whole"], own)
        inside = (np.abs(cine.decode(clipped) - scene) < 1e-6 * (1 + np.abs(scene))).all(axis=1)
        parts.append(f"carried {off[inside].mean() - first[inside].mean():+.3f}")
    kept = "remainder" if made.whole is not None else "no remainder"
    print(f"{name:24} {'; '.join(parts)}; {made.look.recipe.rendering.kind}, {made.steps} steps, "
          f"{kept}, {took}", flush=True)  # fmt: skip


def of_look(text: str):
    look = loads(text)

    def truth(scene, camera):
        name = {"A": "LogC4", "B": "S-Log3/S-Gamut3.Cine"}[camera]
        code = np.clip(encoding(name).encode(scene), 0.0, 1.0)
        return look.evaluate(code, camera=camera, output="main")

    return look, truth


def random_look(seed: int):
    """A recipe of a random rendering and a random half of the kinds, drawn until there is one."""
    for draw in range(9):
        try:
            return of_look(HEAD.format(start="", look=_drawn(seed, draw)))
        except LookkitError:
            continue
    raise RuntimeError(f"random {seed}: no recipe in nine draws")


def _drawn(seed: int, draw: int) -> str:
    rng = np.random.default_rng([seed, draw] if draw else seed)
    u = rng.uniform
    nodes = [
        f'[[look]]\nkind = "exposure"\nstops = {u(-1, 1):.2f}\n',
        f'[[look]]\nkind = "saturation"\nsaturation = {u(0.7, 1.3):.2f}\n'
        f'density = {u(0, 0.6):.2f}\n',
        f'[[look]]\nkind = "cdl"\nslope = [{u(0.9, 1.1):.3f}, 1.0, {u(0.9, 1.1):.3f}]\n'
        f'power = [{u(0.9, 1.1):.3f}, {u(0.9, 1.1):.3f}, {u(0.9, 1.1):.3f}]\n',
        '[[look]]\nkind = "hue-bands"\nbands = [' + ", ".join(
            f"{{ centre = {u(0, 360):.0f}, width = {u(40, 90):.0f}, soft = 40"
            f", turn = {u(-15, 15):.1f}, saturation = {u(0.7, 1.3):.2f}"
            f", exposure = {u(-0.4, 0.4):.2f} }}"
            for _ in range(3)) + "]\n",
        '[[look]]\nkind = "tone-bands"\nbands = [' + ", ".join(
            f"{{ centre = {c}, width = 2, exposure = {u(-0.4, 0.4):.2f}, shift = {{ hue = "
            f"{u(0, 360):.0f}, strength = {u(0, 0.08):.3f} }} }}" for c in (-5, 0, 4)) + "]\n",
        f'[[look]]\nkind = "contrast"\ncontrast = {u(0.9, 1.15):.2f}\n',
        '[[look]]\nkind = "gamut-compress"\n',
    ]  # fmt: skip
    kept = [one for one in nodes if rng.random() < 0.5]
    if seed % 4 == 3:
        return "".join(kept) + '[rendering]\nkind = "aces-2"\n'
    return "".join(kept) + (
        f'[rendering]\nkind = "film-print"\ncontrast = {u(1.2, 1.5):.2f}\n'
        f"grey = {u(0.9, 1.2):.2f}\n"
        f"highlights = {u(0.2, 0.35):.2f}\ninterimage = {u(0.3, 0.8):.2f}\n"
        f"hold = {u(0.6, 0.98):.2f}\n"
        f"overlap = {u(0, 0.1):.2f}\nlights = [{u(24, 26):.2f}, 25, {u(24, 26):.2f}]\n"
    )


def main(which: set[str]) -> None:
    scene = pixels()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        if "looks" in which:
            for name in shipped_looks():
                look, truth = of_look(HEAD.format(start=f'extends = "{name}"', look=""))
                told(name, bake_look(folder / f"{name}.cube", look), truth, scene, folder)
        if "aces" in which:
            for name in ("SDR-VIDEO_1.0", "SDR-100nit-REC709_2.0"):
                cube = bake_builtins(folder / f"{name}.cube", FROM_ACES + name, TO_1886)
                told(name, cube, None, scene, folder)
        for kind, first in (("random", 0), ("fresh", 100)):
            for seed in range(first, first + 20) if kind in which else ():
                look, truth = random_look(seed)
                cube = bake_look(folder / f"{kind}-{seed}.cube", look)
                told(f"{kind} {seed}", cube, truth, scene, folder)
        if "files" in which:
            for file in sorted((samples_folder() / "lut").iterdir()):
                if file.suffix in (".cube", ".clf"):
                    told(file.name, file, None, scene, folder)


if __name__ == "__main__":
    main(set(sys.argv[1:]) or {"looks", "random", "fresh", "aces", "files"})
