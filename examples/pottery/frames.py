"""Render the demo film: three set-ups, three cameras, and the chart for each light.

    python examples/pottery/frames.py --out FOLDER [--width 960] [--only NAME ...]

writes, for each set-up (kiln, flats, blue-hour):

    <set-up>_A.dpx   LogC4, 10-bit full range
    <set-up>_B.png   BT.709 with a knee, 8-bit legal range (16-235, super-white to 255)
    <set-up>_C.tif   sRGB, 16-bit full range
    <set-up>_chart_<A|B>_<minus2|zero|plus2>   a frame full of chart, the same encodings

and scenes.json, which says what is in which file and where. `--only` takes names or
patterns: kiln, flats_A, '*_B', '*_chart_*'. The same width always gives the same pixels.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import sys
import time
import zlib
from collections.abc import Callable, Sequence
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

SETUPS = {"kiln": "kiln", "flats": "flats", "blue-hour": "blue_hour"}
RECORDED = {"kiln": "15:00:00", "flats": "21:00:00", "blue-hour": "22:20:00"}
"""When each was taken, on one day in June."""
"""Name of each set-up and the module that builds it."""

LIGHTS = {
    "kiln": "tungsten lamp 3000 K and kiln mouth 1500 K; cameras at 3200 K",
    "flats": "low sun behind, dusk sky in front; cameras at 5600 K",
    "blue-hour": "dusk sky and a red LED tube at 630 nm; cameras at 5600 K",
}
STOPS = {"minus2": -2, "zero": 0, "plus2": 2}

FORMATS = {
    "A": {"suffix": ".dpx", "encoding": "LogC4", "bits": 10, "range": "full"},
    "B": {"suffix": ".png", "encoding": "BT.709", "bits": 8, "range": "legal"},
    "C": {"suffix": ".tif", "encoding": "sRGB", "bits": 16, "range": "full"},
}


def stems() -> list[str]:
    """Return the names of all files, without suffix."""
    names = []
    for setup in SETUPS:
        names += [f"{setup}_{camera}" for camera in "ABC"]
        names += [f"{setup}_chart_{camera}_{step}" for camera in "AB" for step in STOPS]
    return names


def chosen(only: Sequence[str]) -> list[str]:
    """Return the file stems that the patterns of `only` pick; all, if there are none.

    Raises
    ------
    ValueError
        If a pattern picks nothing.
    """
    names = stems()
    if not only:
        return names
    picked: set[str] = set()
    for pattern in only:
        found = {n for n in names if fnmatchcase(n, pattern) or n.startswith(f"{pattern}_")}
        if not found:
            raise ValueError(
                f"--only {pattern}: no such frame; set-ups are {', '.join(SETUPS)}, "
                f"frames are like kiln_A or flats_chart_B_plus2"
            )
        picked |= found
    return [n for n in names if n in picked]


def render(
    out: Path, width: int = 960, only: Sequence[str] = (), tell: Callable[[str], None] = print
) -> dict:
    """Render frames into the folder `out` and return what scenes.json holds.

    Parameters
    ----------
    out
        Folder, made if missing; files of the same name are replaced.
    width
        Pixels across, 64 or more; the height is 9/16 of it, chart frames are 2/3 as large.
    only
        Names or patterns of frames.
    tell
        Gets a line of progress now and then.
    """
    if width < 64:
        raise ValueError(f"--width {width}: at least 64 pixels")
    names = chosen(only)
    out.mkdir(parents=True, exist_ok=True)
    started = time.perf_counter()

    def say(line: str) -> None:
        tell(f"{time.perf_counter() - started:6.1f} s  {line}")

    manifest: dict = {
        "about": "Demo film of lookkit, rendered from spectra; every value here is invented "
        "or measured from the rendering.",
        "pixels": "x right, y down, from the top left corner of the picture",
        "chart": "24-patch classic, average edition; corners are the outer corners of the "
        "patches 1, 6, 24, 19; patches are their centres in reading order",
        "exposure": "stops by which an 18 % grey at the chart is above 0.18",
        "set_ups": {},
        "files": [],
    }
    for setup in SETUPS:
        wanted = [n for n in names if n.startswith(f"{setup}_")]
        if wanted:
            facts, files = _shoot(setup, wanted, out, width, say)
            manifest["set_ups"][setup] = facts
            manifest["files"] += files
    _replace(
        out / "scenes.json",
        lambda path: path.write_text(json.dumps(manifest, indent=1) + "\n", encoding="utf-8"),
    )
    say(f"{len(manifest['files'])} files in {out}")
    return manifest


def _shoot(
    name: str, wanted: list[str], out: Path, width: int, say: Callable[[str], None]
) -> tuple[dict, list[dict]]:
    from pottery.cameras import exposure_factor
    from pottery.render import Renderer, soften

    say(f"{name}: building")
    setup, chart = importlib.import_module(f"pottery.{SETUPS[name]}").build()
    renderer = Renderer(setup)
    height = round(width * 9 / 16)
    factor = exposure_factor(renderer.at_points(setup.grey_points), setup.bench)
    facts: dict = {"light": LIGHTS[name]}
    files = []

    frames = [n for n in wanted if "_chart_" not in n]
    if frames:
        image, far = renderer.picture(width, height, say)
        places = {
            key: setup.project(p[:, np.newaxis], width, height)[0]
            for key, p in setup.points.items()
        }
        gain = factor * 2.0**setup.exposure
        facts |= _span(image[..., -2] * gain, places)
        say(f"{name}: {facts['stops']:.1f} stops from shade to {facts['brightest']}")
        image = soften(image[..., :9], far, setup, width)
        sites = {
            "corners": setup.project(chart.corners, width, height),
            "board": setup.project(chart.board, width, height),
            "patches": setup.project(chart.centres, width, height),
        }
        skins = setup.project(chart.skins, width, height)
        samples = {f"skin {k + 1}": xy for k, xy in enumerate(skins)}
        samples |= {f"grey {k + 1}": xy for k, xy in enumerate(sites["patches"][18:])}
        samples |= places
        for stem in frames:
            files.append(_record(stem, image, setup, gain, out))
            files[-1] |= {"kind": "scene", "set_up": name, "exposure": setup.exposure}
            files[-1] |= {"chart": _rounded(sites), "samples": _rounded(samples)}
            _brighter(files[-1])
            say(files[-1]["file"])

    for stem in (n for n in wanted if "_chart_" in n):
        camera, step = stem.split("_")[-2:]
        if not files or not files[-1]["file"].startswith(f"{name}_chart_{camera}"):
            image, sites = _bracket(renderer, chart, width, "AB".index(camera))
        files.append(_record(stem, image, setup, factor * 2.0 ** STOPS[step], out))
        files[-1] |= {"kind": "chart", "set_up": name, "exposure": float(STOPS[step])}
        files[-1] |= {"chart": _rounded(sites)}
        _brighter(files[-1])
    if any("_chart_" in n for n in wanted):
        say(f"{name}: chart frames")
    return facts, files


def _bracket(renderer, chart, width: int, tilt: int) -> tuple[np.ndarray, dict]:
    """Return the chart filling the frame under the light that falls on it in the scene."""
    from pottery.chart import bracket_picture

    middle = chart.grey.mean(axis=1, keepdims=True) + chart.normal[:, np.newaxis] * 0.004
    facing = chart.normal[:, np.newaxis].astype(np.float32)
    light = renderer.light_at(middle.astype(np.float32), facing, without=("tube",))
    small = width * 2 // 3
    return bracket_picture(
        light, renderer.emitted, renderer.reflected, small, round(small * 9 / 16), tilt
    )


def _span(luminance: np.ndarray, places: dict[str, np.ndarray]) -> dict:
    """Measure the range of the scene, before any camera, in stops from mid-grey."""
    height, width = luminance.shape
    size = max(2, width // 160)
    trimmed = luminance[: height // size * size, : width // size * size]
    blocks = trimmed.reshape(height // size, size, width // size, size).mean(axis=(1, 3))
    shade = float(np.percentile(blocks, 1))
    if "sun edge" in places:
        x, y = (places["sun edge"] + 0.0).astype(int)
        bright, brightest = float(luminance[y, x]), "the sun's edge"
    else:
        bright, brightest = float(np.percentile(blocks, 99.8)), "the brightest .2 %"
    return {
        "stops": round(float(np.log2(bright / shade)), 2),
        "brightest": brightest,
        "bright_stops_from_grey": round(float(np.log2(bright / 0.18)), 2),
        "shade_stops_from_grey": round(float(np.log2(shade / 0.18)), 2),
        "shade": f"1 % of the picture is darker (means of {size} x {size} pixels)",
    }


def _record(stem: str, image: np.ndarray, setup, factor: float, out: Path) -> dict:
    from pottery import cameras

    camera = stem.split("_chart_")[1][0] if "_chart_" in stem else stem[-1]
    take = {"A": cameras.camera_a, "B": cameras.camera_b, "C": cameras.camera_c}[camera]
    code = take(image, setup.bench, factor, zlib.crc32(stem.encode()))
    form = FORMATS[camera]
    path = out / f"{stem}{form['suffix']}"
    recorded = next(time for setup, time in RECORDED.items() if stem.startswith(setup))
    _replace(path, lambda beside: _write(beside, code, int(form["bits"]), recorded))
    return {
        "file": path.name,
        "camera": camera,
        "encoding": form["encoding"],
        "bits": form["bits"],
        "range": form["range"],
        "width": code.shape[1],
        "height": code.shape[0],
    }


def _brighter(entry: dict) -> None:
    from pottery.cameras import B_BRIGHTER

    if entry["camera"] == "B":
        entry["exposure"] += B_BRIGHTER


def _rounded(sites: dict[str, np.ndarray]) -> dict[str, list]:
    return {key: np.round(value, 2).astype(float).tolist() for key, value in sites.items()}


def _write(path: Path, code: np.ndarray, bits: int, recorded: str) -> None:
    import OpenImageIO as oiio

    if bits == 10:
        # OpenImageIO packs the top 10 of 16 bits
        code = ((code.astype(np.uint32) * 65535 + 511) // 1023).astype(np.uint16)
    height, width, _ = code.shape
    spec = oiio.ImageSpec(width, height, 3, "uint8" if bits == 8 else "uint16")
    spec.attribute("Software", "lookkit demo film")
    spec.attribute("DateTime", f"2024:06:11 {recorded}")  # else the clock, and other bytes
    if bits == 10:
        spec.attribute("oiio:BitsPerSample", 10)
    elif bits == 16:
        spec.attribute("compression", "zip")
    output = oiio.ImageOutput.create(str(path))
    if output is None or not output.open(str(path), spec):
        raise OSError(f"{path}: {oiio.geterror() or 'cannot be written'}")
    written = output.write_image(np.ascontiguousarray(code))
    if not (output.close() and written):
        raise OSError(f"{path}: {output.geterror() or 'writing failed'}")
    if bits == 10:
        # the header's file name (SMPTE ST 268-1, 100 bytes from 36) holds the whole path
        with open(path, "r+b") as file:
            file.seek(36)
            file.write(path.name.removeprefix(".part-").encode().ljust(100, b"\0"))


def _replace(path: Path, write: Callable[[Path], object]) -> None:
    """Write beside and rename, so that an interrupt leaves no half picture."""
    beside = path.with_name(f".part-{path.name}")
    try:
        write(beside)
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Render the demo film of lookkit.")
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    parser.add_argument("--width", type=int, default=960, help="pixels across (default 960)")
    parser.add_argument("--only", nargs="+", default=[], metavar="NAME", help="kiln, flats_A, ...")
    given = parser.parse_args()
    try:
        render(given.out, given.width, given.only, lambda line: print(line, flush=True))
    except (ValueError, OSError) as problem:
        print(f"frames.py: {problem}", file=sys.stderr)
        return 2
    except ImportError as problem:
        print(f"frames.py: {problem}; install lookkit's demo extra", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
