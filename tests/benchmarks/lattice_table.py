"""What fitting gains over sampling the same graph at the same points: the table.

    python tests/benchmarks/lattice_table.py [--size 33] [--no-times]

Fresh colours that no fit has seen, medians of three draws. Every figure is fitted / sampled,
Delta E 2000; below 1 the fitted lattice is closer. Then times and peak memory.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.accuracy import facts
from lookkit.accuracy.audit import Audited, audit
from lookkit.accuracy.interpolate import READERS, Reader, interpolate
from lookkit.accuracy.sampling import sample
from lookkit.accuracy.search import Probe, probe, worst_places
from lookkit.accuracy.truth import steady
from lookkit.lattice.of_graph import Baking
from lookkit.spaces.working import Array
from tests.lattice.graphs import aces, mild, shipped_print

SEEDS: Final = (601, 602, 603)
GRAPHS: Final[dict[str, Callable[[], Baking]]] = {
    "print from S-Log3": lambda: shipped_print("S-Log3/S-Gamut3.Cine").baking,
    "print from LogC4": lambda: shipped_print("LogC4").baking,
    "ACES 2 from LogC4": lambda: aces().baking,
    "matrix and curve": lambda: mild().baking,
}
ROWS: Final = (
    # Words, set, figure, wanted on print and as median, tetrahedral then trilinear.
    ("image-like mean", "image-like", "mean", (0.85, 0.68), (0.85, 0.70)),
    ("image-like 99.9 %", "image-like", "p99.9", (0.85, 0.70), (0.92, 0.88)),
    ("skin mean", "skin", "mean", None, None),
    ("skin 99.9 %", "skin", "p99.9", None, None),
    ("neutral ramp max", "neutral-ramp", "max", (0.70, 0.35), (0.70, 0.40)),
    ("whole cube 99.9 %", "whole-cube", "p99.9", (0.90, 0.90), (0.90, 0.90)),
    ("saturated emitters 99 %", "saturated-emitters", "p99", (1.0, 1.0), (1.05, 1.05)),
    ("over range 99.9 %", "over-range", "p99.9", None, None),
    ("true maximum", "", "max", (1.0, 1.0), (1.05, 1.05)),
)
FIGURES: Final[dict[str, Callable[[Array], float]]] = {
    "mean": lambda error: float(error.mean()),
    "p99": lambda error: float(np.quantile(error, 0.99)),
    "p99.9": lambda error: float(np.quantile(error, 0.999)),
    "max": lambda error: float(error.max()),
}

Draws = list[Mapping[str, Audited]]
Ratios = dict[tuple[str, Reader], float]


def ratios(source: Baking, draws: Draws, probed: Probe, plain: Array, lattice: Array) -> Ratios:
    """Return fitted / sampled of every row and reader."""
    exact = steady(source.exact)
    found = {}
    for reader in READERS:
        for words, name, figure, _, _ in ROWS:
            if not name:
                tops = [
                    worst_places(one, reader, exact, source.light, probed)[1][0]
                    for one in (plain, lattice)
                ]
                found[words, reader] = tops[1] / tops[0]
                continue
            parts = []
            for sets in draws:
                one = sets[name]
                before = FIGURES[figure](one.delta_e_2000(one.read(plain, reader)))
                after = FIGURES[figure](one.delta_e_2000(one.read(lattice, reader)))
                parts.append(after / before)
            found[words, reader] = statistics.median(parts)
    return found


def tints(source: Baking, lattice: Array) -> list[str]:
    """Return the tint of the ramp under each reader, in 10-bit codes."""
    out = []
    for reader in READERS:

        def read(code: Array, reader: Reader = reader) -> Array:
            return interpolate(lattice, code, reader)

        ramp = facts.ramp(read, source.exact)
        out.append(f"{ramp.tint:.2f}{'' if ramp.monotone else ' falls'}")
    return out


def table(title: str, found: dict[str, Ratios]) -> None:
    """Print one table, a column for each graph."""
    print(f"\n{title}\n{'':26}" + "".join(f"{name:>20}" for name in found) + f"{'median':>16}")
    for words, _, _, on_print, at_median in ROWS:
        cells, medians = "", []
        for ratio in found.values():
            pair = [ratio[words, reader] for reader in READERS]
            cells += f"{pair[0]:14.3f} {pair[1]:5.3f}"
        for reader in READERS:
            prints = [ratio[words, reader] for name, ratio in found.items() if "print" in name]
            rest = [ratio[words, reader] for name, ratio in found.items() if "print" not in name]
            medians.append(statistics.median([max(prints), *rest]))
        limits = ""
        if on_print is not None:
            limits = f"   print <= {on_print}, median <= {at_median}"
        print(f"{words:26}{cells}{medians[0]:10.3f} {medians[1]:5.3f}{limits}")


def compare(size: int) -> None:
    """Print the table."""
    fitted: dict[str, Ratios] = {}
    for name, made in GRAPHS.items():
        source = made()
        exact = steady(source.exact)
        draws = [audit(exact, source.space, source.light, seed) for seed in SEEDS]
        plain = sample(exact, size)
        lattice = np.round(source.bake(size, fit=True), 8)
        probed = probe(exact, source.light, size)
        fitted[name] = ratios(source, draws, probed, plain, lattice)
        line = f"{name}: tint {' / '.join(tints(source, plain))} codes sampled"
        line += f", {' / '.join(tints(source, lattice))} fitted"
        print(line, flush=True)
    table(f"fitted / sampled, {size} points: tetrahedral, trilinear", fitted)


def one_time(what: str, size: int) -> None:
    """Print the seconds and the peak memory of one job in a process of its own."""
    source = GRAPHS[next(iter(GRAPHS))]()
    jobs: dict[str, Callable[[], object]] = {
        "fit": lambda: source.bake(size, fit=True),
    }
    if what == "certificate":
        lattice = source.bake(size, fit=False)
        jobs[what] = lambda: source.certify(lattice)
    source.exact(np.full((100, 3), 0.5))
    small = GRAPHS["matrix and curve"]()
    small.certify(small.bake(5, fit=True))  # Libraries are loaded once for many files.
    began, worked = time.perf_counter(), time.process_time()
    jobs[what]()
    took, worked = time.perf_counter() - began, time.process_time() - worked
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1048576.0
    print(f"{took:.2f} {worked:.2f} {peak:.2f}")


def times() -> None:
    """Print times and peak memory."""
    print("\nseconds on this machine, and peak memory of the process")
    for what, size, wanted in (
        ("fit", 17, ""), ("fit", 33, "at most 2 s"), ("fit", 65, "at most 20 s, 1.2 GB"),
        ("certificate", 33, "at most 1.5 s"), ("certificate", 65, ""),
    ):  # fmt: skip
        runs = []
        for _ in range(1 if size == 65 else 3):
            command = [sys.executable, __file__, "--one", what, "--size", str(size)]
            text = subprocess.run(command, check=True, capture_output=True, text=True).stdout
            runs.append([float(part) for part in text.split()])
        took, worked, peak = (statistics.median(part) for part in zip(*runs, strict=True))
        print(
            f"{what} {size}: {took:.2f} s, {worked:.2f} s of processor, {peak:.2f} GB   {wanted}",
            flush=True,
        )


def main() -> None:
    """Parse the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", type=int, default=33)
    parser.add_argument("--no-times", action="store_true")
    parser.add_argument("--one", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        one_time(given.one, given.size)
        return
    compare(given.size)
    if not given.no_times:
        times()


if __name__ == "__main__":
    main()
