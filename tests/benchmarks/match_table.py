"""What a match reaches on colours it has not seen: the table, five seeds each.

    python tests/benchmarks/match_table.py

Two simulated cameras (tests/match/simulation.py) look at the same spectra; the fit sees
the chart's codes only. Delta E 2000, means over the seeds.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.evaluate import evaluate
from lookkit.lower import lower
from lookkit.matchfile.camera_curve import bt709_decode
from lookkit.ocio import Processor, library
from lookkit.spaces import ranges
from lookkit.spaces.primaries import AP1, BT709, between
from tests.match import simulation as sim
from tests.match.trials import Trial, chart_trial, paired_trial

SEEDS = range(5)


def row(name: str, trials: list[Trial], seconds: float) -> None:
    """Print means over the seeds."""

    def figures(spectra: Any, stops: float = 0.0) -> tuple[float, float, float]:
        all_errors = [trial.errors(spectra, stops) for trial in trials]
        return (
            float(np.mean([errors.mean() for errors in all_errors])),
            float(np.mean([np.percentile(errors, 95) for errors in all_errors])),
            float(np.mean([errors.max() for errors in all_errors])),
        )

    chart, held = figures(sim.chart_spectra()), figures(sim.held_out_spectra())
    skin = figures(sim.skin_spectra())[0]
    under, over = (figures(sim.held_out_spectra(), stops)[0] for stops in (-2.0, 2.0))
    print(
        f"{name:34s} chart {chart[0]:.2f}/{chart[1]:.2f}  held {held[0]:.2f}/{held[1]:.2f}/"
        f"{held[2]:.2f}  skin {skin:.2f}  -2 {under:.2f}  +2 {over:.2f}  "
        f"{seconds / len(trials):.2f} s"
    )


def timed(name: str, make: Any, seeds: range = SEEDS) -> None:
    """Make the trials of a row and print it."""
    begin = time.process_time()
    trials = [make(seed) for seed in seeds]
    row(name, trials, time.process_time() - begin)


def plain_rows() -> None:
    """The two baselines that match nothing: a plain decode, and gains on it."""
    for name in ("no match", "gains"):
        means: dict[float, list[float]] = {0.0: [], -2.0: [], 2.0: []}
        for seed in SEEDS:
            camera_a, camera_b = sim.pair(sim.TYPICAL, seed)

            def decoded(spectra: Any, stops: float, camera: Any = camera_b) -> Any:
                signal = ranges.convert(camera.exact(spectra, stops), "legal", "full", 8)
                return bt709_decode(signal) @ between(BT709, AP1, "bradford").T

            gain = np.ones(3)
            if name == "gains":
                chart = sim.chart_spectra()
                gain = camera_a.truth(chart).mean(axis=0) / decoded(chart, 0.0).mean(axis=0)
            for stops, found in means.items():
                landed = decoded(sim.held_out_spectra(), stops) * gain * 2.0**-stops
                errors = sim.difference(landed, camera_a.truth(sim.held_out_spectra()))
                found.append(float(errors.mean()))
        print(
            f"{name:34s} held {np.mean(means[0.0]):.2f}  -2 {np.mean(means[-2.0]):.2f}  "
            f"+2 {np.mean(means[2.0]):.2f}"
        )


def exported() -> None:
    """The largest error of the OCIO op, and of a CLF file of it, against the fit."""
    ocio = library()
    worst = []
    for seed in SEEDS:
        steps = chart_trial(sim.TYPICAL, seed).match.steps
        spectra = np.concatenate([sim.held_out_spectra(), sim.skin_spectra()])
        codes = np.concatenate(
            [sim.pair(sim.TYPICAL, seed)[1].exact(spectra, s)
             for s in (-2.0, 0.0, 2.0)]
        )  # fmt: skip
        signals = ranges.convert(codes, "legal", "full", 8)
        wanted = evaluate(steps, signals)
        lowered = lower(steps)
        direct = Processor(lowered).apply_exact(signals)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "match.clf"
            group = ocio.GroupTransform()
            for transform in lowered:
                group.appendTransform(transform)
            group.write("Academy/ASC Common LUT Format", str(path), ocio.Config.CreateRaw())
            read = Processor([ocio.FileTransform(src=str(path))]).apply_exact(signals)
        worst.append([sim.difference(direct, wanted).max(), sim.difference(read, wanted).max()])
    print(f"exported: OCIO max {np.max(worst, axis=0)[0]:.4f}, CLF {np.max(worst, axis=0)[1]:.4f}")


if __name__ == "__main__":
    plain_rows()
    timed("bracket", lambda seed: chart_trial(sim.TYPICAL, seed))
    timed("bracket, learnt stage", lambda seed: chart_trial(sim.TYPICAL, seed, stage="auto"))
    timed("bracket, stage of the chart", lambda seed: chart_trial(
        sim.TYPICAL, seed, stage="always"))  # fmt: skip
    timed("single exposure", lambda seed: chart_trial(sim.TYPICAL, seed, (0.0,)))
    timed("four glared patches", lambda seed: chart_trial(sim.TYPICAL, seed, glared=4))
    timed("2 % flare on the chart", lambda seed: chart_trial(sim.TYPICAL, seed, flare=0.02))
    timed("cine curve", lambda seed: chart_trial(sim.TYPICAL, seed, curve=sim.cine))
    timed("more saturated camera", lambda seed: chart_trial(
        sim.TYPICAL, seed, saturation=(1.05, 1.25)))  # fmt: skip
    timed("no chart, 30 % bad pairs", lambda seed: paired_trial(seed))
    timed("no chart, no bad pairs", lambda seed: paired_trial(seed, bad=0.0))
    timed("stress", lambda seed: chart_trial(sim.STRESS, seed))
    timed("stress, learnt stage", lambda seed: chart_trial(sim.STRESS, seed, stage="auto"))
    timed("bracket, seeds 5-24", lambda seed: chart_trial(sim.TYPICAL, seed), range(5, 25))
    exported()
