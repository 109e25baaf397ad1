"""The pictures of a LUT hold what the LUT does."""

import numpy as np
import pytest

from lookkit.accuracy.sampling import grid
from lookkit.errors import LookkitError
from lookkit.inspect.inspection import inspect
from lookkit.inspect.pictures import curves, draw, net, wheel
from tests.inspect.luts import contrast, function, written

pytest.importorskip("matplotlib")


def test_two_pictures_are_written(tmp_path):
    found = inspect(written(tmp_path / "a.cube", contrast(9)), readers=[])
    paths = draw(found, tmp_path / "out")
    assert [path.name for path in paths] == ["a_curves.png", "a_net.png"]
    for path in paths:
        assert path.read_bytes().startswith(b"\x89PNG")
        assert path.stat().st_size > 20_000


def test_the_curves_are_the_luts_greys():
    figure = curves(function(grid(9) * [1.0, 0.5, 0.25]), "x")
    lines = {line.get_label(): line for line in figure.axes[0].lines}
    for name, share in (("red", 1.0), ("green", 0.5), ("blue", 0.25)):
        x, y = lines[name].get_data()
        assert np.allclose(y, share * x)


def test_a_fall_is_marked_in_the_curves():
    lattice = grid(9)
    lattice[..., 1] = np.interp(lattice[..., 1], [0, 0.5, 0.75, 1], [0, 0.6, 0.4, 1])
    figure = curves(function(lattice), "x")
    labels = [line.get_label() for line in figure.axes[0].lines]
    assert "green falls" in labels
    assert "red falls" not in labels


def test_the_net_of_the_identity_stays_where_it_was():
    figure = net(function(grid(9)), "x")
    for panel in figure.axes:
        before, after, _ = panel.collections
        for one, other in zip(before.get_segments(), after.get_segments(), strict=True):
            assert np.allclose(one, other)


def test_the_wheel_has_grey_in_the_middle_and_pure_hues_outside():
    ring = wheel(0.8)
    assert np.allclose(ring[0], 0.8)
    assert np.allclose(ring.max(axis=-1), 0.8)
    assert np.allclose(ring[-1].min(axis=-1), 0.0)
    assert np.allclose(ring[-1][0], [0.8, 0, 0])
    assert np.allclose(ring[-1][16], [0, 0.8, 0])
    assert np.allclose(ring[-1][32], [0, 0, 0.8])


def test_nothing_is_drawn_of_a_lut_without_numbers(tmp_path):
    (tmp_path / "a.cube").write_text("LUT_3D_SIZE 2\n0 0 0\n")
    with pytest.raises(LookkitError, match="nothing to draw"):
        draw(inspect(tmp_path / "a.cube", readers=[]), tmp_path)
