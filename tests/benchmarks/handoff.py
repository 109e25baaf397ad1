"""A whole hand-off against its fits and certificates alone, and its peak memory.

    python tests/benchmarks/handoff.py

4 cameras, 3 outputs, 3 sizes, every format. The fits and certificates are timed inside the one
build; all the rest of it (CLF, CDL, config, pictures, hashes, text) may cost half as much again.
Prints the time by format, the ratio (wanted: at most 1.5) and the peak memory (1.2 GB).
"""

from __future__ import annotations

import json
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
        folder = build(look, Path(place), progress).folder
        size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
        count = sum(path.is_file() for path in folder.rglob("*"))
    whole = time.perf_counter() - began
    alone = sum(fits.values())
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    for name, seconds in by_job.most_common():
        print(f"{name or 'start':10} {seconds:7.1f} s")
    print(f"fits {fits['bake']:.1f} s, certificates {fits['certify']:.1f} s, whole {whole:.1f} s")
    print(f"ratio {whole / alone:.2f} (at most {RATIO})")
    print(f"peak memory {peak:.0f} MB (at most {MEGABYTES})")
    print(f"{count} files, {size / 1e6:.0f} MB")
    return int(whole > RATIO * alone or peak > MEGABYTES)


if __name__ == "__main__":
    sys.exit(main())
