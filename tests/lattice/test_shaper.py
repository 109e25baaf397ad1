"""The curve before a lattice."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.accuracy.audit import audit
from lookkit.accuracy.certificate import certify
from lookkit.accuracy.interpolate import READERS
from lookkit.accuracy.samples import audit_sets
from lookkit.accuracy.sampling import sample
from lookkit.accuracy.shaper import Shaper
from lookkit.accuracy.truth import steady
from lookkit.lattice.shaper_fit import EQUAL, fit_with_shaper
from lookkit.lattice.spacing import Aim, Spacing, shaper_of
from lookkit.lutfile.clf_lattice import clf_of_lattice, read_clf_lattice
from lookkit.lutfile.clf_write import ClfHead
from lookkit.ocio import Processor, library
from tests.lattice.graphs import aces, mild

knots = st.lists(st.floats(-1.5, 1.5), min_size=2, max_size=17)


@given(knots)
def test_a_shaper_rises_from_0_to_1_and_undoes_itself(values):
    shaper = shaper_of(np.array(values))
    code = np.linspace(0.0, 1.0, 301)
    place = shaper.forward(code)
    assert place[0] == 0.0
    assert place[-1] == 1.0
    assert (np.diff(place) > 0.0).all()
    np.testing.assert_allclose(shaper.inverse(place), code, atol=1e-12)


def test_level_knots_space_points_equally():
    code = np.linspace(0.0, 1.0, 100)
    np.testing.assert_allclose(shaper_of(np.full(5, 0.7)).forward(code), code, atol=1e-12)


def test_codes_outside_the_range_are_clamped():
    shaper = shaper_of(np.array([0.0, 1.0]))
    assert shaper.forward([-1.0, 2.0, np.nan, np.inf]).tolist() == [0.0, 1.0, 0.0, 1.0]


@pytest.mark.parametrize(
    "table", [[0.0], [0.0, 0.5, 0.5, 1.0], [0.0, 0.9], [0.1, 1.0], [[0.0, 1.0]], [0.0, np.nan, 1.0]]
)
def test_a_table_that_does_not_rise_from_0_to_1_is_refused(table):
    with pytest.raises(ValueError, match="expected a table"):
        Shaper(np.array(table))


def test_a_shaped_sample_is_exact_at_its_points():
    graph, shaper = mild(), shaper_of(np.array([-1.0, 0.5, 0.0]))
    lattice = sample(steady(graph.exact), 5, shaper)
    code = shaper.inverse(np.array([[0.25, 0.5, 1.0]]))
    np.testing.assert_allclose(lattice[1, 2, 4], graph.exact(code)[0], atol=1e-12)


def test_a_shaper_after_a_shaper_is_both():
    first, second = shaper_of(np.array([0.5, -0.5])), shaper_of(np.array([-1.0, 0.0, 0.4]))
    code = np.linspace(0.0, 1.0, 1025)
    both = first.then(second)
    np.testing.assert_allclose(both.forward(code), second.forward(first.forward(code)), atol=1e-12)


SMALL = {"neutral-ramp": 64, "image-like": 600, "skin": 200, "whole-cube": 400}


def test_the_model_of_spacing_knows_its_own_slope():
    graph = mild()
    codes = audit_sets(graph.codespace, 5, SMALL)
    shaper = shaper_of(np.array([-0.3, 0.4, 0.0]))
    model = Spacing(steady(graph.exact), graph.light, codes, 33, shaper)
    limit = {key: tail - 0.3 for key, tail in model.tails().items()}
    aim = Aim({("image-like", "tetrahedral"): 1.0}, limit)
    knots = np.random.default_rng(8).normal(0.0, 0.2, 33)
    slope = model._cost(knots, aim)[1]
    for one, along in zip(slope, np.eye(33), strict=True):
        hair = 2e-3 * along
        rise = (model._cost(knots + hair, aim)[0] - model._cost(knots - hair, aim)[0]) / 4e-3
        assert one == pytest.approx(rise, rel=0.02, abs=0.02 * np.abs(slope).max())


def test_the_model_foresees_what_plain_sampling_errs():
    graph = mild()
    exact, size = steady(graph.exact), 33
    sets = audit(exact, graph.codespace, graph.light, 5, SMALL)
    model = Spacing(exact, graph.light, {name: one.code for name, one in sets.items()}, size, EQUAL)
    pictures, lattice = sets["image-like"], sample(exact, size)
    for reader in READERS:
        error = pictures.delta_e_2000(pictures.read(lattice, reader)) + 1e-3
        found = np.log((error.astype(float) ** 12).mean()) / 12.0
        foreseen = model.tails(fitted=False)["image-like", reader]
        # One is at random places in the cells, the other where the colours happen to lie.
        assert foreseen == pytest.approx(found, abs=0.5)


@pytest.fixture(scope="module")
def shaped():
    """ACES 2 from LogC4 as a shaper and 33 points."""
    told = []
    source = aces().baking
    fit = fit_with_shaper(
        source.exact, source.space, source.light, 33, progress=lambda *one: told.append(one[1:])
    )
    assert told[-1][0] == told[-1][1]
    return fit


@pytest.mark.parametrize(("reader", "gain"), [("tetrahedral", 0.65), ("trilinear", 0.70)])
def test_a_fitted_shaper_lowers_the_tail_on_fresh_pictures(shaped, reader, gain):
    graph = aces()
    exact = steady(graph.exact)
    before, after = [], []
    for seed in (311, 312, 313):
        pictures = audit(exact, graph.codespace, graph.light, seed, {"image-like": 32768})[
            "image-like"
        ]
        sampled = pictures.delta_e_2000(pictures.read(sample(exact, 33), reader))
        found = pictures.delta_e_2000(pictures.read(shaped.lattice, reader, shaped.shaper))
        before.append(np.quantile(sampled, 0.999))
        after.append(np.quantile(found, 0.999))
    assert np.median(after) < gain * np.median(before)


def test_no_audited_set_gets_worse_than_by_plain_sampling_without_a_shaper(shaped):
    graph = aces()
    exact = steady(graph.exact)
    lattice = sample(exact, 33)
    for audited in audit(exact, graph.codespace, graph.light).values():
        for reader in READERS:
            sampled = audited.delta_e_2000(audited.read(lattice, reader))
            found = audited.delta_e_2000(audited.read(shaped.lattice, reader, shaped.shaper))
            assert np.quantile(found, 0.999) <= np.quantile(sampled, 0.999) + 0.0021
            assert found.max() <= sampled.max() + 0.0021


def test_maxima_do_not_rise_behind_a_shaper_of_a_small_lattice():
    graph, size = mild(), 5
    fit = fit_with_shaper(graph.exact, graph.codespace, graph.light, size)
    exact = steady(graph.exact)
    lattice = sample(exact, size)
    for audited in audit(exact, graph.codespace, graph.light).values():
        for reader in READERS:
            sampled = audited.delta_e_2000(audited.read(lattice, reader))
            found = audited.delta_e_2000(audited.read(fit.lattice, reader, fit.shaper))
            assert found.max() <= sampled.max() + 0.0021


def test_a_clf_with_a_fitted_shaper_keeps_its_gain_through_the_file(shaped, tmp_path):
    source, path = aces().baking, tmp_path / "a.clf"
    clf_of_lattice(shaped.lattice, shaped.shaper.table).write(path, ClfHead("x", "", ""))
    read = read_clf_lattice(path)
    from_file = source.certify(read.lattice, shaper=Shaper(read.shaper))
    fitted = source.certify(source.bake(33, fit=True))
    assert from_file.shaped
    assert not fitted.shaped
    assert from_file.folds == 0
    for reader in READERS:
        one, other = (
            certificate.reading(reader).sets["image-like"].delta_e_2000
            for certificate in (from_file, fitted)
        )
        assert one.mean < other.mean
        assert one.p999 < 0.8 * other.p999
        # The certificate judges the file as it was read back, to its last digit.
        exact = source.certify(shaped.lattice, shaper=shaped.shaper).reading(reader)
        assert one.mean == pytest.approx(exact.sets["image-like"].delta_e_2000.mean, rel=1e-3)


def test_opencolorio_sees_the_gain_too(tmp_path):
    graph, size, path = mild(), 9, tmp_path / "a.clf"
    shaper = shaper_of(np.array([-0.8, 0.3, 0.3, 0.0, -0.5]))
    exact = steady(graph.exact)
    clf_of_lattice(sample(exact, size, shaper), shaper.table).write(path, ClfHead("x", "", ""))
    pictures = audit(exact, graph.codespace, graph.light, seed=78, sizes={"image-like": 4000})[
        "image-like"
    ]
    ocio = library()
    transform = ocio.FileTransform(str(path), interpolation=ocio.INTERP_DEFAULT)
    read = Processor([transform]).apply_exact(pictures.code)
    certificate = certify(
        sample(exact, size, shaper), shaper, graph.exact, graph.codespace, graph.light,
        ["tetrahedral"], audited={**audit(exact, graph.codespace, graph.light), "image-like":
        pictures},
    )  # fmt: skip
    wanted = certificate.reading("tetrahedral").sets["image-like"].delta_e_2000.mean
    assert pictures.delta_e_2000(np.asarray(read, dtype=np.float64)).mean() == pytest.approx(
        wanted, rel=1e-3
    )
