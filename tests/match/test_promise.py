"""What a match promises, on simulated matches of other cameras, lights and seeds."""

import numpy as np
import pytest

from lookkit.match.promise import kind_of, promise, promise_words
from tests.match import simulation as sim
from tests.match.trials import chart_trial

pytest.importorskip("colour", reason="the spectra come from colour-science, an optional extra")

CASES = (
    (sim.TYPICAL, {}),
    (sim.TYPICAL, {"stops": (0.0,)}),
    (sim.TYPICAL, {"curve": sim.cine}),
    (sim.TYPICAL, {"glared": 4}),
    (sim.STRESS, {}),
    (sim.STRESS, {"stops": (0.0,)}),
)


def test_the_upper_figure_covers_the_truth_and_is_not_absurd():
    # tests/benchmarks/match_promise.py has the whole table; here every case once.
    covered, sizes = [], []
    for seed, (kind, how) in enumerate(CASES):
        trial = chart_trial(kind, 300 + seed, stage="auto", leave_out=True, **how)
        made = promise(trial.fit, known=False)
        held, skin = trial.errors(sim.held_out_spectra()), trial.errors(sim.skin_spectra())
        truth = held.mean(), np.percentile(held, 95), skin.mean()
        promised = made.mean.up_to, made.p95.up_to, made.skin.up_to
        covered += [true <= most for true, most in zip(truth, promised, strict=True)]
        sizes.append(made.mean.up_to / truth[0])
    assert np.mean(covered) >= 0.9
    assert np.median(sizes) < 3.0


def test_it_is_kept_apart_by_kind_and_method():
    trials = {
        stage: chart_trial(sim.TYPICAL, 310, stage=stage, leave_out=True).fit
        for stage in ("auto", "never", "always")
    }
    made = {stage: promise(fit, known=False) for stage, fit in trials.items()}
    # Skin is what the learnt stage is for.
    assert made["auto"].skin.about < made["never"].skin.about
    for one in made.values():
        assert one.mean.about < one.mean.up_to < one.p95.up_to
    assert (kind_of(True, 3), kind_of(False, 1), kind_of(False, 3)) == (
        "known",
        "single",
        "bracket",
    )
    words = promise_words(made["auto"])
    assert words.startswith(f"mean about {made['auto'].mean.about:.1f}, up to ")
    assert "skin about" in words
