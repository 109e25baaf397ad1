"""Learn what `lookkit match` knows before it sees a chart: lookkit/match/prior.json.

    LOOKKIT_SAMPLES=samples python tests/benchmarks/match_learn.py runs.npz [COUNT]
    LOOKKIT_SAMPLES=samples python tests/benchmarks/match_learn.py runs.npz --learn

The first simulates fits (some 0.2 s each), the second learns from them and writes the numbers.

Data: measured camera sensitivities of wetadigital/physlight (Apache License 2.0), read from
`spectral/` of the samples; chart, object and light spectra that colour-science ships (BSD
3-clause). Only derived coefficients are kept: no measurement can be read from them.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.errors import InputError
from lookkit.match import stage as staging
from lookkit.match.colour import difference, lab, lab_jacobian, perceived
from lookkit.match.fit import curve_knots, plain_fit
from lookkit.match.promise import signs
from lookkit.match.solve import errors, goal_of, landed
from lookkit.match.stray import dark_stray
from lookkit.matchfile.roots import root_terms
from tests.match import worlds

Array = np.ndarray[Any, np.dtype[np.float64]]

AXES = 24
RIDGE = 3e4
FOLDS = 6
MOST = 4.0
"""A chart residual from which the fit is not worth learning from."""
SKIN = 0.3
"""What all skins count for together, where all objects count for one."""
MIXING = {"most": 0.45, "power": 2.0, "ordinary": 1.0, "own": 0.8}
"""Chosen on the folds: the mean gains nothing beyond, and 95th percentiles get worse more often."""
CLIPS = 0.06
"""The share of colours that camera B clips among those for which a promise is made."""
MADE_UP = 0.5
"""What a made-up camera counts for in the promise, where a measured one counts for one."""
MIDDLE, UPPER = 0.5, {"mean": 0.93, "p95": 0.93, "skin": 0.9}
"""Quantiles of what is promised; for objects with a margin, for there it is narrow."""
PLAIN = 10.0
"""How much smaller the loss has to be for a weight of 1, in thousandths of a run's."""


def simulate(seed: int, firsts: list[str], seconds: list[str]) -> dict[str, Any] | None:
    """One fit and what is true of it."""
    world = worlds.random_world(seed, firsts, seconds, "babel")
    shots, target = world.chart_shots()
    try:
        _, kept, solution = plain_fit(shots, target, None if world.known else curve_knots())
    except InputError:
        return None
    arrived, (goal, weights) = landed(kept, solution), goal_of(kept)
    seen = (arrived, goal, weights, kept.keep)
    patch = np.tile(np.arange(24), len(shots))
    without = difference(staging.without_own_hue(*seen, patch), kept.target)
    dark = dark_stray(shots[0].light, target, shots[0].usable) if len(shots) == 1 else None
    out: dict[str, Any] = {
        "stray": np.nan if dark is None else dark,
        "residuals": staging.chart_residuals(*seen),
        "own": staging.own_change(*seen),
        "group": np.nanmean(without),
        "chart": errors(kept, solution)[kept.keep].mean(),
        "single": len(shots) == 1,
        "known": world.known,
        "first": world.first,
        "second": world.second,
        "light": world.light,
        "flare": world.flare,
        "curve": world.curve,
    }
    sets = {"objects": worlds.object_spectra(), "skin": worlds.modelled_skin()}
    for name, spectra in sets.items():
        out[name] = solution.scene(world.values(spectra))
        out[f"{name} truth"] = world.truth(spectra)
        out[f"{name} fair"] = world.fair(spectra)
    return out


def collect(path: Path, count: int) -> None:
    """Simulate and keep everything."""
    samples = worlds.sample_cameras(Path(os.environ["LOOKKIT_SAMPLES"]))
    made_up = [f"made-up {k} {','.join(samples)}" for k in range(count // 4)]
    rows = []
    begin = time.process_time()
    for seed in range(count):
        seconds = made_up if seed % 4 == 0 else samples
        found = simulate(seed, samples, seconds)
        if found is not None:
            rows.append(found)
        if seed % 100 == 99:
            print(seed + 1, f"{time.process_time() - begin:.0f} s", flush=True)
    np.savez_compressed(path, **{key: np.array([row[key] for row in rows]) for key in rows[0]})


class Runs:
    """Simulated fits, and what each makes of its own colours."""

    def __init__(self, path: Path) -> None:
        """Read runs that a match would not have refused."""
        held = np.load(path)
        fair = (held["chart"] < MOST) & np.isfinite(held["group"])
        self.held = {key: held[key][fair] for key in held.files}
        self.count = int(fair.sum())
        self.landed = self._both("")
        self.truth = self._both(" truth")
        self.fair = self._both(" fair")
        objects = self.held["objects"].shape[1]
        skin = np.arange(self.landed.shape[1]) >= objects
        self.objects, self.skin = self.fair & ~skin, self.fair & skin
        self.goal = lab(self.truth)
        self.metric = perceived(self.goal.reshape(-1, 3)).reshape(*self.goal.shape, 3)
        self.fold = np.array([_number(name) % FOLDS for name in self.held["second"]])

    def _both(self, what: str) -> Array:
        return np.concatenate([self.held[f"objects{what}"], self.held[f"skin{what}"]], axis=1)

    def errors(self, change: Array, chosen: Array | None = None) -> dict[str, Array]:
        """Mean and 95th percentile of objects, and mean of skin, after changes (runs, 3, 6).

        Objects are those that are not clipped, or those `chosen`.
        """
        terms = np.concatenate([self.landed, root_terms(self.landed)], axis=-1)
        scene = self.landed + np.einsum("rnk,rik->rni", terms, change)
        found = difference(scene, self.truth)
        objects = np.where(self.objects if chosen is None else chosen, found, np.nan)
        return {
            "mean": np.nanmean(objects, axis=1),
            "p95": np.nanpercentile(objects, 95, axis=1),
            "skin": np.nanmean(np.where(self.skin, found, np.nan), axis=1),
        }

    def promised(self) -> Array:
        """Objects for which a promise is made: fair ones, and a few that camera B clips."""
        rng = np.random.default_rng(0)
        chosen = self.objects.copy()
        count = self.held["objects"].shape[1]
        for run in range(self.count):
            clipped = rng.permutation(np.flatnonzero(~self.fair[run, :count]))
            chosen[run, clipped[: int(CLIPS / (1.0 - CLIPS) * chosen[run].sum())]] = True
        return np.asarray(chosen)

    def normal(self) -> tuple[Array, Array]:
        """Normal matrix (runs, 18, 18) and right side (runs, 18) of the change of each run.

        Errors count by their squares up to 3 Delta E and by their size above; a run counts
        the less the larger its errors are.
        """
        plain = self.errors(np.zeros((self.count, 3, 6)))["mean"]
        normals, sides = [], []
        for run in range(self.count):
            landed, metric = self.landed[run], self.metric[run]
            miss = np.einsum("nij,nj->ni", metric, lab(landed) - self.goal[run])
            weight = self.objects[run] / max(self.objects[run].sum(), 1)
            weight = weight + SKIN * self.skin[run] / max(self.skin[run].sum(), 1)
            weight = weight * np.minimum(1.0, 3.0 / (np.linalg.norm(miss, axis=1) + 1e-9))
            terms = np.concatenate([landed, root_terms(landed)], axis=1)
            rows = np.einsum("nri,nk->nrik", metric @ lab_jacobian(landed), terms)
            rows = rows.reshape(len(miss), 3, 18)
            wide = (rows * weight[:, None, None]).reshape(-1, 18) * 100.0 / max(plain[run], 0.4)
            normals.append(wide.T @ rows.reshape(-1, 18))
            sides.append(-wide.T @ miss.ravel())
        return np.array(normals), np.array(sides)

    def signs(self, unlike: Array) -> Array:
        """What the logarithms of errors go with, (runs, 10)."""
        held = self.held
        names = ("group", "chart", "single", "known", "stray")
        each = zip(*(held[name] for name in names), unlike, strict=True)
        return np.array(
            [
                signs(left, plain, odd, one, known, stray if np.isfinite(stray) else None)
                for left, plain, one, known, stray, odd in each
            ]
        )


def quantile(rows: Array, values: Array, share: float, counts: Array) -> Array:
    """Return weights w so that rows @ w is above that share of values; a linear program.

    After R. Koenker and G. Bassett, "Regression Quantiles" (1978). All weights but the first are
    kept small.
    """
    from scipy import sparse
    from scipy.optimize import linprog

    count, terms = rows.shape
    small = np.full(2 * terms, 1e-3 * PLAIN * counts.sum())
    small[[0, terms]] = 0.0
    cost = np.concatenate([small, counts * share, counts * (1.0 - share)])
    one = sparse.eye(count)
    both = sparse.hstack([sparse.csr_matrix(rows), sparse.csr_matrix(-rows), one, -one])
    found = linprog(cost, A_eq=both.tocsr(), b_eq=values, bounds=(0, None), method="highs").x
    return np.asarray(found[:terms] - found[terms : 2 * terms])


def _number(name: str) -> int:
    """A number of a camera that is the same on every machine."""
    short = Path(name.split(" ")[-1].split(",")[0]).name if "made-up" not in name else name[:20]
    return sum((at + 1) * ord(letter) for at, letter in enumerate(short))


def learn_prior(runs: Runs, chosen: Array, normals: Array, sides: Array) -> staging.Prior:
    """Ridge regression from the chart's residuals to the change that colours need."""
    residuals = runs.held["residuals"]
    centre = residuals[chosen].mean(axis=0)
    _, size, axes = np.linalg.svd(residuals[chosen] - centre, full_matrices=False)
    spread, axes = size[:AXES] / np.sqrt(chosen.sum()), axes[:AXES]
    places = (residuals - centre) @ axes.T
    terms = np.concatenate([np.ones((runs.count, 1)), places], axis=1)[chosen]
    whole = np.einsum("ra,rb,rij->aibj", terms, terms, normals[chosen], optimize=True)
    right = np.einsum("ra,ri->ai", terms, sides[chosen])
    count = (AXES + 1) * 18
    change = np.linalg.solve(whole.reshape(count, count) + RIDGE * np.eye(count), right.ravel())
    return staging.Prior(centre, axes, spread, change.reshape(AXES + 1, 18))


def changes(runs: Runs, priors: list[staging.Prior]) -> Array:
    """The change that each run would get from the prior that did not see its camera."""
    mixing = staging.Mixing(**MIXING)
    out = []
    for run in range(runs.count):
        prior, residuals = priors[runs.fold[run]], runs.held["residuals"][run]
        learnt, own = prior.stage(residuals).change, runs.held["own"][run]
        out.append(mixing.mixed(prior.unlikeness(residuals), learnt, own))
    return np.array(out)


def unlikenesses(runs: Runs, priors: list[staging.Prior]) -> Array:
    """How unlike the cameras of its prior each run's are."""
    pairs = zip(runs.fold, runs.held["residuals"], strict=True)
    return np.array([priors[fold].unlikeness(residuals) for fold, residuals in pairs])


def learn_promise(
    runs: Runs, what: str, values: Array, told: Array, counts: Array
) -> dict[str, list[float]]:
    """Return the weights of about and up to, and print what they are worth on other cameras."""

    def both(chosen: Array) -> list[Array]:
        chosen = chosen & np.isfinite(values)
        seen = (told[chosen], values[chosen])
        return [quantile(*seen, share, counts[chosen]) for share in (MIDDLE, UPPER[what])]

    ends = np.zeros((2, runs.count))
    for fold in range(FOLDS):
        mine = runs.fold == fold
        ends[:, mine] = np.array(both(~mine)) @ told[mine].T
    fair = np.isfinite(values) & (counts == 1.0)
    covers, wide = (values <= ends[1])[fair].mean(), np.exp(np.median((ends[1] - values)[fair]))
    print(f"  {what:4s} covers {covers:.0%} of measured cameras' runs, {wide:.2f} times the truth")
    weights = both(np.ones(runs.count, dtype=bool))
    rounded = [[round(float(one), 4) for one in each] for each in weights]
    return dict(zip(("about", "up-to"), rounded, strict=True))


def rows_of(prior: staging.Prior, name: str) -> Array:
    """A part of the prior as rows."""
    return np.atleast_2d(getattr(prior, name))


def learn(path: Path) -> None:
    """Learn the prior and the promises, print what they are worth, and write them."""
    runs = Runs(path)
    normals, sides = runs.normal()
    priors = [learn_prior(runs, runs.fold != fold, normals, sides) for fold in range(FOLDS)]
    everything = {
        "never": np.zeros((runs.count, 3, 6)),
        "always": runs.held["own"],
        "auto": changes(runs, priors),
    }
    real = np.array(["made-up" not in name for name in runs.held["second"]])
    plain = runs.errors(everything["never"])
    told, counts = runs.signs(unlikenesses(runs, priors)), np.where(real, 1.0, MADE_UP)
    among = runs.promised()
    promised: dict[str, Any] = {}
    for method, change in everything.items():
        found = runs.errors(change)
        worse = (found["p95"] > plain["p95"] + 0.1)[real].mean()
        words = " / ".join(f"{value[real].mean():.2f}" for value in found.values())
        print(f"{method:7s} measured cameras: {words}, p95 worse than the 3x3 in {worse:.0%}")
        promised[method] = {}
        for what, values in runs.errors(change, among).items():
            promised[method][what] = learn_promise(runs, what, np.log(values), told, counts)
    prior = learn_prior(runs, np.ones(runs.count, dtype=bool), normals, sides)
    numbers = {
        "prior": {
            name: [[float(f"{one:.4g}") for one in row] for row in rows_of(prior, name)]
            for name in ("centre", "axes", "spread", "change")
        },
        "mixing": MIXING,
        "promise": promised,
        "from": "tests/benchmarks/match_learn.py; derived from measured camera sensitivities of "
        "wetadigital/physlight (Apache License 2.0) and spectra that colour-science ships (BSD "
        f"3-clause); {runs.count} simulated fits",
    }
    target = Path(staging.__file__).parent / "prior.json"
    target.write_text(json.dumps(numbers, separators=(",", ":")) + "\n", encoding="utf-8")
    print(f"{target.name}: {target.stat().st_size / 1000:.1f} kB")


if __name__ == "__main__":
    if "--learn" in sys.argv:
        learn(Path(sys.argv[1]))
    else:
        collect(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1200)
