"""What a match promises, on simulated matches of other cameras, lights and seeds."""

import numpy as np
import pytest

from lookkit.match.fit import curve_knots, fit_shots
from lookkit.match.promise import promise, promise_words
from tests.match import simulation as sim
from tests.match.trials import chart_trial
from tests.match.worlds import World

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")

CASES = (
    (sim.TYPICAL, {}),
    (sim.TYPICAL, {"plan": (0.0,)}),
    (sim.TYPICAL, {"curve": "cine"}),
    (sim.TYPICAL, {"curve": "known"}),
    (sim.TYPICAL, {"glared": 4}),
    (sim.TYPICAL, {"plan": (0.0,), "flare": 0.02}),
    (sim.STRESS, {}),
    (sim.STRESS, {"plan": (0.0,)}),
)


def test_the_upper_figure_covers_what_is_not_clipped_and_the_middle_is_near():
    # tests/benchmarks/match_promise.py has the whole table; here every case once.
    covered, sizes, middles = [], [], []
    for seed, (pair, how) in enumerate(CASES):
        world = World(300 + seed, *pair, **how)
        shots, target = world.chart_shots()
        fit = fit_shots(shots, target, knots=None if world.known else curve_knots())
        made = promise(fit, world.known)
        found = []
        for spectra in (sim.held_out_spectra(), sim.skin_spectra()):
            fair = spectra[world.fair(spectra)]
            landed = fit.solution.scene(world.values(fair))
            found.append(sim.difference(landed, world.truth(fair)))
        truth = found[0].mean(), np.percentile(found[0], 95), found[1].mean()
        promised = made.mean.up_to, made.p95.up_to, made.skin.up_to
        covered += [true <= most for true, most in zip(truth, promised, strict=True)]
        sizes.append(made.mean.up_to / truth[0])
        middles.append(made.mean.about / truth[0])
    assert np.mean(covered) >= 0.9
    assert np.median(sizes) < 1.8
    assert 0.8 < np.median(middles) < 1.25


def test_it_is_kept_apart_by_method():
    trials = {
        stage: chart_trial(sim.TYPICAL, 310, stage=stage, leave_out=True).fit
        for stage in ("auto", "never", "always")
    }
    made = {stage: promise(fit, known=False) for stage, fit in trials.items()}
    # Skin is what the learnt stage is for.
    assert made["auto"].skin.about < made["never"].skin.about
    for one in made.values():
        assert one.mean.about < one.mean.up_to < one.p95.up_to
    words = promise_words(made["auto"])
    assert words.startswith(f"mean about {made['auto'].mean.about:.1f}, up to ")
    assert "skin about" in words
