"""A whole hand-off: its time and memory on all cores, or against its fits and certificates.

    python tests/benchmarks/handoff.py
    python tests/benchmarks/handoff.py --one-core

4 cameras, 3 outputs, 3 sizes, every format. The first is what a user waits for, with a process
for each core. The second times the fits and certificates inside a build on one core; all the rest
of it (CLF, CDL, config, pictures, hashes, text) may cost half as much again. Both print the peak
memory; each process may take 1.2 GB.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from lookkit.handoff.build import build
from lookkit.handoff.formats import FORMATS
from lookkit.lattice.of_graph import Baking
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe

RECIPE = """
schema = 1
name = "Warm print"
extends = "warm-print"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "S-Log3/S-Gamut3.Cine"
[cameras.C]
encoding = "V-Log"
[cameras.D]
encoding = "sRGB"
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.cinema]
output = "P3-D65 2.6"
[outputs.web]
output = "sRGB"
rendering = { kind = "aces-2" }
[deliver]
sizes = [17, 33, 65]
"""
RECIPE += f"formats = {json.dumps(list(FORMATS))}\n"
RATIO, MEGABYTES = 1.5, 1200


def main() -> int:
    if "--one-core" in sys.argv:
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        return _against_fits()
    look = Look(parse_recipe(RECIPE), RECIPE)
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as place:
        told = _counted(build(look, Path(place)).folder)
    print(f"whole {time.perf_counter() - began:.1f} s on {len(os.sched_getaffinity(0))} cores")
    own, other = (_peak(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(f"peak memory {own:.0f} MB, of another process {other:.0f} MB (at most {MEGABYTES} each)")
    print(told)
    return int(max(own, other) > MEGABYTES)


def _peak(who: int) -> float:
    return resource.getrusage(who).ru_maxrss / 1024


def _counted(folder: Path) -> str:
    sizes = [path.stat().st_size for path in folder.rglob("*") if path.is_file()]
    return f"{len(sizes)} files, {sum(sizes) / 1e6:.0f} MB"


def _against_fits() -> int:
    look = Look(parse_recipe(RECIPE), RECIPE)
    fits: Counter[str] = Counter()
    by_job: Counter[str] = Counter()

    def timed(name: str) -> None:
        plain = getattr(Baking, name)

        def measured(self: Baking, *args: Any, **named: Any) -> Any:
            began = time.perf_counter()
            try:
                return plain(self, *args, **named)
            finally:
                fits[name] += time.perf_counter() - began

        setattr(Baking, name, measured)

    timed("bake")
    timed("certify")
    last = [time.perf_counter(), ""]

    def progress(what: str, done: int, total: int) -> None:
        now = time.perf_counter()
        by_job[last[1].partition(" ")[0]] += now - last[0]
        last[:] = [now, what]

    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as place:
        told = _counted(build(look, Path(place), progress).folder)
    whole = time.perf_counter() - began
    alone = sum(fits.values())
    peak = _peak(resource.RUSAGE_SELF)
    for name, seconds in by_job.most_common():
        print(f"{name or 'start':10} {seconds:7.1f} s")
    print(f"fits {fits['bake']:.1f} s, certificates {fits['certify']:.1f} s, whole {whole:.1f} s")
    print(f"ratio {whole / alone:.2f} (at most {RATIO})")
    print(f"peak memory {peak:.0f} MB (at most {MEGABYTES})")
    print(told)
    return int(whole > RATIO * alone or peak > MEGABYTES)


if __name__ == "__main__":
    sys.exit(main())
