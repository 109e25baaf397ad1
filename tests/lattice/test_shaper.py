"""The curve before a lattice."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.lattice.audit import audit
from lookkit.lattice.certificate import certify
from lookkit.lattice.fit import fit_lattice
from lookkit.lattice.interpolate import READERS
from lookkit.lattice.sampling import sample
from lookkit.lattice.shaper import Shaper
from lookkit.lattice.shaper_fit import fit_shaper, shaper_of
from lookkit.lattice.truth import steady
from lookkit.lutfile.clf_lattice import clf_of_lattice, read_clf_lattice
from lookkit.lutfile.clf_write import ClfHead
from lookkit.ocio import Processor, library
from tests.lattice.graphs import mild

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


def test_a_fitted_shaper_lowers_the_error_on_fresh_pictures():
    graph, size = mild(), 9
    told = []
    shaper = fit_shaper(
        graph.exact,
        graph.codespace,
        graph.light,
        size,
        progress=lambda what, done, total: told.append((done, total)),
    )
    assert told[-1][0] == told[-1][1]
    exact = steady(graph.exact)
    pictures = audit(exact, graph.codespace, graph.light, seed=77, sizes={"image-like": 8000})[
        "image-like"
    ]
    sampled = pictures.delta_e_2000(pictures.read(sample(exact, size), "tetrahedral"))
    fit = fit_lattice(graph.exact, graph.codespace, graph.light, size, shaper=shaper)
    shaped = pictures.delta_e_2000(pictures.read(fit.lattice, "tetrahedral", shaper))
    assert shaped.mean() < 0.6 * sampled.mean()
    assert np.quantile(shaped, 0.99) < 0.75 * np.quantile(sampled, 0.99)


def test_a_clf_with_a_fitted_shaper_keeps_its_gain_through_the_file(tmp_path):
    source, size, path = mild().baking, 9, tmp_path / "a.clf"
    shaper, lattice = source.bake_with_shaper(size)
    clf_of_lattice(lattice, shaper.table).write(path, ClfHead("x", "", ""))
    read = read_clf_lattice(path)
    shaped = source.certify(read.lattice, shaper=Shaper(read.shaper))
    fitted = source.certify(source.bake(size, fit=True))
    assert shaped.shaped
    assert not fitted.shaped
    for reader in READERS:
        one, other = (
            certificate.reading(reader).sets["image-like"].delta_e_2000
            for certificate in (shaped, fitted)
        )
        assert one.mean < 0.8 * other.mean
        assert one.p99 < 0.8 * other.p99
        # The certificate judges the file as it was read back, to its last digit.
        exact = source.certify(lattice, shaper=shaper).reading(reader).sets["image-like"]
        assert one.mean == pytest.approx(exact.delta_e_2000.mean, rel=1e-3)


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
