"""The picture of a certificate shows the certificate's own figures."""

import numpy as np
import pytest

from lookkit.accuracy.certificate import certify
from lookkit.accuracy.picture import certificate_figure, draw_certificate
from lookkit.accuracy.sampling import sample
from lookkit.accuracy.truth import steady
from tests.lattice.graphs import mild

pytest.importorskip("matplotlib")


@pytest.fixture(scope="module")
def certificate():
    graph = mild()
    lattice = sample(steady(graph.exact), 9)
    return certify(lattice, graph.exact, graph.codespace, graph.light)


@pytest.fixture(scope="module")
def figure(certificate):
    return certificate_figure(certificate, "a.cube")


def test_each_set_of_each_reader_runs_from_its_mean_to_its_largest_error(certificate, figure):
    axes = figure.axes[0]
    assert [label.get_text() for label in axes.get_yticklabels()] == list(
        certificate.readings[0].sets
    )
    spans = [line.get_xdata() for line in axes.lines if len(line.get_xdata()) == 2]
    drawn = {tuple(np.round(span, 9)) for span in spans}
    for reading in certificate.readings:
        for figures in reading.sets.values():
            one = figures.delta_e_2000
            assert tuple(np.round([one.mean, one.max], 9)) in drawn


def test_the_ramp_is_drawn_over_stops(certificate, figure):
    lines = {line.get_label(): line for line in figure.axes[1].lines}
    labels = ("read tetrahedrally", "read trilinearly", "read by a graphics processor")
    for reading, label in zip(certificate.readings, labels, strict=True):
        stops, errors = lines[label].get_data()
        np.testing.assert_allclose(np.stack([stops, errors], axis=1), reading.over_stops)
        most = reading.sets["neutral-ramp"].delta_e_2000.max
        assert max(errors) == pytest.approx(most, abs=1e-6)


def test_worst_colours_are_pairs_in_their_own_colours(certificate, figure):
    for axes, reading in zip(figure.axes[2:], certificate.readings, strict=True):
        inks = [area.get_facecolor()[0, :3] for area in axes.collections]
        for index, one in enumerate(reading.worst[:8]):
            np.testing.assert_allclose(inks[2 * index], one.exact_srgb, atol=1e-9)
            np.testing.assert_allclose(inks[2 * index + 1], one.read_srgb, atol=1e-9)
        assert f"{reading.maximum:.2f}" in axes.get_title(loc="left")


def test_nothing_leaves_the_page(figure, tmp_path):
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    page = figure.bbox
    for axes in figure.axes:
        for text in axes.texts:
            box = text.get_window_extent(canvas.get_renderer())
            assert box.x0 >= 0
            assert box.x1 <= page.x1
            assert box.y0 >= 0


def test_the_same_certificate_gives_the_same_bytes(certificate, tmp_path):
    for name in ("a.png", "b.png"):
        draw_certificate(certificate, tmp_path / name, "a.cube")
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
