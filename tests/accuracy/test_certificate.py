"""Certificates: what they find is there."""

import json

import numpy as np
import pytest

from lookkit.accuracy.audit import Audited, audit
from lookkit.accuracy.certificate import certify
from lookkit.accuracy.difference import delta_e_2000, delta_e_itp
from lookkit.accuracy.interpolate import READERS, interpolate
from lookkit.accuracy.samples import SET_SIZES, CodeSpace
from lookkit.accuracy.sampling import CORNERS, grid, sample
from lookkit.accuracy.search import halfway, probe, worst_places
from lookkit.accuracy.text import certificate_text
from lookkit.accuracy.truth import Light, steady
from lookkit.lattice.of_graph import exceeded
from lookkit.recipe.model import Budget
from tests.lattice.graphs import LOGC4, aces, mild, print_slog3

AS_DELIVERED = True

PLAIN = CodeSpace(encode=lambda scene: scene, decode=lambda code: code)
POWER = Light(xyz=lambda signal: 100.0 * np.maximum(signal, 0.0) ** 2.2 * [0.95, 1.0, 1.09])


def identity(code):
    return np.asarray(code)


def of(graph, size=9):
    lattice = sample(steady(graph.exact), size)
    return certify(lattice, graph.exact, graph.codespace, graph.light)


@pytest.fixture(scope="module")
def printed():
    return of(print_slog3(), 17)


def test_a_perfect_lattice_has_a_clean_certificate():
    certificate = certify(grid(9), identity, PLAIN, POWER)
    assert certificate.folds == 0
    for reading in map(certificate.reading, READERS):
        assert reading.maximum < 1e-3
        assert reading.ramp.monotone
        assert reading.ramp.tint < 1e-6
        for figures in reading.sets.values():
            assert figures.codes.max < 1e-6
            assert figures.delta_e_2000.max < 1e-3
            assert figures.delta_e_itp.max < 1e-3


def test_the_figures_are_those_of_the_sets(printed):
    graph = print_slog3()
    lattice = sample(steady(graph.exact), 17)
    sets = audit(steady(graph.exact), graph.codespace, graph.light)
    for reader in READERS:
        reading = printed.reading(reader)
        assert set(reading.sets) == set(SET_SIZES)
        for name in ("image-like", "saturated-emitters"):
            wanted, code = sets[name].signal, sets[name].code
            found = interpolate(lattice, code, reader)
            figures = reading.sets[name]
            error = delta_e_2000(graph.light.lab(wanted), graph.light.lab(found))
            assert figures.delta_e_2000.mean == pytest.approx(error.mean(), rel=1e-3)
            assert figures.delta_e_2000.p999 == pytest.approx(np.quantile(error, 0.999), rel=1e-3)
            error = delta_e_itp(graph.light.itp(wanted), graph.light.itp(found))
            assert figures.delta_e_itp.p99 == pytest.approx(np.quantile(error, 0.99), rel=1e-3)
            assert figures.codes.max == pytest.approx(1023.0 * np.abs(wanted - found).max())


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("corner", CORNERS)
def test_what_is_read_halfway_is_what_the_reader_interpolates_there(corner, reader):
    lattice = np.random.default_rng(3).random((5, 5, 5, 3))
    places = grid(9)[tuple(slice(step, None, 2) for step in corner)]
    np.testing.assert_allclose(
        halfway(lattice, corner, reader), interpolate(lattice, places, reader), atol=1e-12
    )


@pytest.mark.parametrize("graph", [print_slog3, aces, mild])
def test_the_maximum_beats_random_search(graph):
    # 200 000 random codes; tests/benchmarks/lattice_maximum.py compares with 10^8.
    graph = graph()
    exact = steady(graph.exact)
    lattice = sample(exact, 9)
    probed = probe(exact, graph.light, 9)
    code = np.random.default_rng(5).random((200_000, 3))
    one = Audited(code, exact(code), graph.light)
    for reader in READERS:
        found = worst_places(lattice, reader, exact, graph.light, probed)[1][0]
        assert found >= 0.999 * one.delta_e_2000(one.read(lattice, reader)).max()


def test_worst_colours_are_true_different_and_in_order(printed):
    graph = print_slog3()
    lattice = sample(steady(graph.exact), 17)
    for reading in printed.readings:
        worst = reading.worst
        assert len(worst) == 10
        assert worst[0].delta_e_2000 == reading.maximum
        errors = [one.delta_e_2000 for one in worst]
        assert errors == sorted(errors, reverse=True)
        code = np.array([one.code for one in worst])
        np.testing.assert_allclose([one.exact for one in worst], graph.exact(code), atol=1e-9)
        np.testing.assert_allclose(
            [one.read for one in worst], interpolate(lattice, code, reading.reader), atol=1e-9
        )
        for row, one in enumerate(code):
            assert (np.abs(code[:row] - one).max(axis=1, initial=1.0) > 0.06).all()


def test_a_fault_at_one_point_is_found_and_placed():
    lattice = grid(17)
    lattice[3, 12, 5] += [0.2, 0.0, 0.0]
    certificate = certify(lattice, identity, PLAIN, POWER)
    for reading in certificate.readings:
        np.testing.assert_allclose(reading.worst[0].code, np.array([3, 12, 5]) / 16, atol=0.01)
    assert certificate.folds > 0


def test_a_tinted_axis_and_a_falling_ramp_are_reported():
    lattice = grid(9)
    lattice[4, 4, 4] += [10.0 / 1023.0, 0.0, 0.0]
    lattice[6, 6, 6] = lattice[5, 5, 5] - 0.05
    ramp = certify(lattice, identity, PLAIN, POWER).reading("tetrahedral").ramp
    assert not ramp.monotone
    assert ramp.fall > 0.0
    assert ramp.tint == pytest.approx(10.0, abs=0.1)


def test_clipping_is_told_face_by_face():
    def hot(code):
        return np.clip(code * [2.0, 1.0, 0.5], 0.0, 1.0)

    faces = certify(sample(hot, 9), hot, PLAIN, POWER).clipped_faces
    assert faces["red 1"] == 1.0
    assert faces["red 0"] == 1.0
    assert faces["green 1"] == 1.0
    # On the blue 1 face: red from 4/8 up, and the edges where red or green is 0 or 1.
    assert faces["blue 1"] == pytest.approx(1.0 - 3.0 * 7.0 / 81.0)


def test_banding_grows_when_the_lattice_is_coarse():
    fine, coarse = of(mild(), 17), of(mild(), 5)
    for reader in READERS:
        for better, worse in zip(
            fine.reading(reader).banding, coarse.reading(reader).banding, strict=True
        ):
            assert better.bits == worse.bits
            assert better.false_steps < worse.false_steps
    assert [band.bits for band in fine.readings[0].banding] == [8, 10]


def test_a_graphics_processor_reads_in_steps_and_the_report_says_so():
    # Source: CUDA C Programming Guide, linear filtering: 8 bits of fraction, so that 256 places
    # lie between two points.
    code = np.linspace(0.0, 1.0, 4096)
    read = interpolate(grid(9), np.repeat(code[:, None], 3, axis=1), "gpu")[:, 0]
    np.testing.assert_allclose(read * 8 * 256, np.rint(code * 8 * 256), atol=1e-9)
    certificate = certify(grid(9), identity, PLAIN, POWER)
    reading = certificate.reading("gpu")
    # Half a step of 1/256 of a cell of 1/8.
    half = 1023.0 / (2 * 256 * 8)
    assert reading.sets["whole-cube"].codes.max == pytest.approx(half, rel=0.01)
    assert reading.ramp.fall < 0.25
    assert "graphics processor" in certificate_text(certificate)


def test_hues_and_stops_of_the_worst_colours_make_sense():
    lattice = grid(17)
    lattice[16, 0, 0] -= [0.3, 0.0, 0.0]
    worst = certify(lattice, identity, PLAIN, Light(
        xyz=lambda s: 100.0 * np.maximum(s, 0.0) ** 2.2
        @ np.array([[0.4124, 0.2126, 0.0193], [0.3576, 0.7152, 0.1192], [0.1805, 0.0722, 0.9505]])
    )).readings[0].worst[0]  # fmt: skip
    # sRGB red has a hue of 40 degrees in L*a*b*; scene red of 1 is about 1.5 stops up.
    assert worst.hue == pytest.approx(40.0, abs=2.0)
    assert worst.hue_name == "red"
    assert worst.stops == pytest.approx(np.log2(np.sqrt(0.2722) / 0.18), abs=0.2)


def test_colours_for_pictures_are_those_of_the_display():
    # IEC 61966-2-1: a display of BT.709 primaries and D65 shows its own light; signals differ
    # by their curves alone, so sRGB of the light is what the monitor's signal decodes to.
    graph = mild()
    signal = np.array([[0.5, 0.5, 0.5], [1.0, 1.0, 1.0], [0.2, 0.6, 0.9], [0.0, 0.0, 0.0]])
    linear = signal**2.4
    wanted = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(graph.light.srgb(signal), wanted, atol=2e-4)


def test_the_ramps_errors_over_stops_reach_its_largest(printed):
    for reading in printed.readings:
        stops, errors = np.array(reading.over_stops).T
        assert (np.diff(stops) >= 0.25).all()
        assert max(errors) == pytest.approx(reading.sets["neutral-ramp"].delta_e_2000.max)


def test_json_is_plain_and_repeats(printed):
    data = json.loads(printed.to_json())
    assert data["size"] == 17
    assert data["readings"][0]["reader"] == "tetrahedral"
    assert data["readings"][0]["sets"]["image-like"]["delta_e_2000"]["p999"] > 0.0
    assert of(print_slog3(), 17).to_json() == printed.to_json()


def test_text_is_readable(printed):
    text = certificate_text(printed)
    assert max(map(len, text.splitlines())) <= 120
    for words in ("image-like", "Delta E 2000", "True maximum", "Grey ramp", "Worst colours"):
        assert words in text
    assert text.endswith("\n")


def test_a_reading_that_was_not_made_is_refused():
    graph = mild()
    one = certify(sample(graph.exact, 5), graph.exact, graph.codespace, graph.light, ["trilinear"])
    with pytest.raises(KeyError):
        one.reading("tetrahedral")


def test_a_budget_names_reader_set_and_figure(printed):
    tight = Budget(neutral_ramp=1000.0, image_like=0.001, skin=1000.0, saturated_emitters=1000.0)
    found = exceeded(printed, tight)
    assert [one.split(":")[0] for one in found] == ["image-like, 99.9 %"] * 2
    for reading, text in zip(map(printed.reading, READERS), found, strict=True):
        figure = reading.sets["image-like"].delta_e_2000.p999
        assert f"Delta E 2000 {figure:.2f} read {reading.reader}, at most 0.001" in text


def test_the_default_budget_passes_a_good_file_and_not_a_coarse_one():
    assert exceeded(of(mild(), 5), Budget())
    assert exceeded(of(mild(), 33), Budget()) == []


def test_the_camera_decides_where_pictures_are():
    assert LOGC4.decode(np.full((1, 3), 0.278396))[0] == pytest.approx([0.18] * 3, abs=1e-5)
