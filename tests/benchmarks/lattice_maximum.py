"""The certificate's true maximum against brute force.

    python tests/benchmarks/lattice_maximum.py [--points 100000000]

Fitted 33-point lattices of two graphs; uniform random codes, a million at a time. The search
may find more than brute force does; it must not find less than 98 % of it.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.accuracy.audit import Audited
from lookkit.accuracy.interpolate import READERS
from lookkit.accuracy.truth import steady
from tests.lattice.graphs import Graph, aces, shipped_print

SIZE = 33
AT_ONCE = 1_000_000


def compare(graph: Graph, points: int) -> None:
    """Print both maxima of one graph for each reader."""
    source = graph.baking
    exact = steady(source.exact)
    lattice = source.bake(SIZE, fit=True)
    certificate = source.certify(lattice)
    rng = np.random.default_rng(11)
    most = dict.fromkeys(READERS, 0.0)
    began = time.perf_counter()
    for start in range(0, points, AT_ONCE):
        code = rng.random((min(AT_ONCE, points - start), 3))
        one = Audited(code, exact(code), source.light)
        for reader in READERS:
            most[reader] = max(
                most[reader], float(one.delta_e_2000(one.read(lattice, reader)).max())
            )
    took = time.perf_counter() - began
    for reader in READERS:
        found = certificate.reading(reader).maximum
        print(
            f"{graph.name}, {reader}: search {found:.4f}, brute force {most[reader]:.4f} "
            f"({points:.0e} points, {took:.0f} s), {found / most[reader]:.4f}",
            flush=True,
        )


def main() -> None:
    """Parse the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=100_000_000)
    points = parser.parse_args().points
    for graph in (shipped_print("S-Log3/S-Gamut3.Cine"), aces()):
        compare(graph, points)


if __name__ == "__main__":
    main()
