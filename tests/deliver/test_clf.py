"""CLF files: OpenColorIO and colour-clf-io, which we did not write, read them as the graph."""

import re
from functools import reduce
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.accuracy.samples import CodeSpace, audit_sets, image_like
from lookkit.deliver import clf
from lookkit.deliver.agreement import as_opencolorio_reads
from lookkit.deliver.cdl import Correction
from lookkit.deliver.cdl_residual import undone
from lookkit.deliver.clf_steps import sayable
from lookkit.errors import LookkitError
from lookkit.evaluate import evaluate
from lookkit.graph import InputTransform, OutputTransform
from lookkit.look import Look, shipped_looks
from lookkit.lutfile.clf import scan_clf
from lookkit.lutfile.clf_write import NAMESPACES, Clf, ClfHead
from lookkit.ocio import lattice_transform, library
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.encodings import encodings
from lookkit.spaces.outputs import outputs
from lookkit.spaces.working import AP0_TO_AP1, AP1_TO_AP0
from tests.test_look import RECIPE

AS_DELIVERED = True

GUIDE = 0.002
"""Academy, CLF implementation guide: |difference| / max(|aim|, 0.1)."""
ANALYTIC = 2e-4

SAMPLED = "[deliver]\nfit = false\n"
LATTICES = """
[[look]]
kind = "tone-bands"
bands = [{ centre = -3.0, width = 2.0, exposure = 0.3 }, { centre = 0.0, width = 2.0 }]
[[look]]
kind = "gamut-compress"
[scenes.kiln]
[[scenes.kiln.trims]]
kind = "exposure"
stops = 0.5
[scenes.kiln.overrides.level]
gamma = 1.1
[deliver]
fit = false
scenes = ["kiln"]
"""


def look_of(text):
    return Look(parse_recipe(text), text)


def written(look, folder):
    """All files, but for the chains of cameras that differ from A by their input alone."""
    chains = [one for one in clf.chain_files(look) if one.camera in ("A", "linear")]
    every = [*clf.files(look), *chains]
    return [(file, clf.write_clf_file(look, file, folder)) for file in every]


@pytest.fixture(scope="module")
def plain():
    return look_of(RECIPE + SAMPLED)


@pytest.fixture(scope="module")
def files(plain, tmp_path_factory):
    return written(plain, tmp_path_factory.mktemp("clf"))


@pytest.fixture(scope="module")
def mixed():
    return look_of(RECIPE.replace('kind = "lift', 'id = "level"\nkind = "lift') + LATTICES)


@pytest.fixture(scope="module")
def mixed_files(mixed, tmp_path_factory):
    folder = tmp_path_factory.mktemp("mixed")
    looks = [file for file in clf.files(mixed) if file.part == "look"]
    return [(file, clf.write_clf_file(mixed, file, folder)) for file in looks]


def share(found, aim):
    return np.abs(found - aim) / np.maximum(np.abs(aim), 0.1)


def fresh_codes(camera):
    """Colours that no fit or measure has seen: another seed."""
    space = CodeSpace(camera.inverse, camera.evaluate)
    sets = audit_sets(space, seed=77)
    return np.concatenate([sets[name][::4] for name in ("image-like", "skin", "over-range")])


def test_every_part_of_the_graph_has_its_file(plain):
    files = [*clf.files(plain), *clf.chain_files(plain)]
    parts = [one.part for one in files]
    assert parts.count("look") == 1
    assert parts.count("input") == 4
    assert parts.count("output") == 3
    assert parts.count("chain") == 12
    assert len({one.path for one in files}) == len(files)


def test_without_lattices_opencolorio_reads_the_graph(files, plain):
    """The look and the inputs of this recipe; its renderings compare channels."""
    seen = 0
    for _, one in files:
        if "3D LUT of" in one.note:
            assert one.output is not None
            continue
        seen += 1
        read = as_opencolorio_reads(one.path)
        if one.camera is None:
            light = np.random.default_rng(5).normal(0.3, 1.0, (5000, 3))
            aim = evaluate(plain.graph.look(), light @ AP0_TO_AP1.T) @ AP1_TO_AP0.T
        else:
            light = fresh_codes(plain.graph.input_transform(one.camera))
            chain = plain.graph.camera(one.camera)
            aim = evaluate(chain, light) @ AP1_TO_AP0.T
        assert np.quantile(share(read(light), aim), 0.999) <= ANALYTIC
        assert one.figures["relative 99.9 %"] <= ANALYTIC
    assert seen == 5


def test_a_lattice_is_said_in_the_file_with_its_measured_error(files, plain):
    for _, one in files:
        text = one.path.read_text()
        assert ("<LUT3D" in text) == ("3D LUT of" in one.note)
        words = "pictures Delta E 2000" if "3D LUT of" in one.note else "99.9 % of values within"
        assert words in text
        assert words in one.accuracy[0]
    chains = [one for _, one in files if one.output == "monitor"]
    # A .cube of 33 points is off by about one.
    assert max(one.figures["image-like 99.9 %"] for one in chains) <= 0.5
    aces = [one for _, one in files if one.output == "aces"]
    assert max(one.figures["image-like 99.9 %"] for one in aces) <= 0.5


def test_a_look_with_tone_bands_and_gamut_compression_is_one_lattice_within_its_figure(
    mixed, mixed_files
):
    (one,) = [one for file, one in mixed_files if one.part == "look" and file.scene is None]
    assert "tone-bands, gamut-compress" in one.path.read_text()[:2000]
    assert one.figures["image-like 99.9 %"] <= 0.5
    rng = np.random.default_rng(9)
    light = 0.18 * 2.0 ** rng.normal(-0.5, 2.0, (20000, 1)) * 2.0 ** rng.normal(0, 0.3, (20000, 3))
    aim = evaluate(mixed.graph.look(), light) @ AP1_TO_AP0.T
    found = as_opencolorio_reads(one.path)(light @ AP1_TO_AP0.T)
    assert np.quantile(share(found, aim), 0.999) <= one.figures["relative 99.9 %"]
    assert np.quantile(share(found, aim), 0.99) <= 2 * GUIDE


def test_a_scene_brings_its_trims_and_overrides(mixed, mixed_files):
    (plain, scene) = [one for _, one in mixed_files if one.part == "look"]
    assert (plain.scene, scene.scene) == (None, "kiln")
    light = np.array([[0.18, 0.2, 0.15], [0.02, 0.03, 0.05], [1.5, 1.2, 0.8]])
    chain = (*mixed.graph.trims("kiln"), *mixed.graph.look("kiln"))
    aim = evaluate(chain, light) @ AP1_TO_AP0.T
    found = as_opencolorio_reads(scene.path)(light @ AP1_TO_AP0.T)
    assert share(found, aim).max() <= GUIDE * 2
    assert share(as_opencolorio_reads(plain.path)(light @ AP1_TO_AP0.T), aim).max() > 0.1


@pytest.mark.parametrize("namespace", ["smpte", "academy"])
def test_our_strict_reader_finds_no_fault(plain, tmp_path, namespace):
    look = look_of(
        RECIPE + f'[deliver]\nclf_namespace = "{namespace}"\ncertify = false\nfit = false\n'
    )
    for file in (clf.look_file(look), clf.chain_file(look, "B", "monitor")):
        one = clf.write_clf_file(look, file, tmp_path)
        assert scan_clf(one.path).faults == ()


def test_colour_clf_io_reads_and_runs_them_as_the_graph(tmp_path):
    """colour-clf-io 0.2 reads the Academy's form only; colour-science runs what it read.

    What colour-clf-io reads but cannot run itself (a matrix with an offset; tables, whose inputs
    it scales twice) is run here by numpy and by colour-science's own tables.
    """
    colour = pytest.importorskip("colour")
    reader = pytest.importorskip("colour_clf_io")
    from colour.algebra import table_interpolation_tetrahedral
    from colour_clf_io.processing import as_LUT_sequence_item

    def run(node, rgb):
        if isinstance(node, reader.Matrix):
            rows = node.array.as_array()
            return rows[:, :3] @ rgb + (rows[:, 3] if rows.shape[1] == 4 else 0.0)
        if isinstance(node, reader.LUT3D):
            table = colour.LUT3D(node.array.as_array())
            return table.apply(np.clip(rgb, 0, 1), interpolator=table_interpolation_tetrahedral)
        if isinstance(node, reader.LUT1D):
            table = node.array.as_array().reshape(node.array.dim[0], -1)
            places = np.linspace(0.0, 1.0, len(table))
            if node.half_domain:
                halves = np.arange(65536, dtype=np.uint16).view(np.float16).astype(float)
                kept = np.argsort(np.where(np.isfinite(halves), halves, 1e9))[: 2 * 31744]
                places, table = halves[kept], table[kept]
            columns = np.broadcast_to(table, (len(table), 3))
            return np.array([np.interp(rgb[k], places, columns[:, k]) for k in range(3)])
        return as_LUT_sequence_item(node).apply(rgb)

    look = look_of(RECIPE + '[deliver]\nclf_namespace = "academy"\ncertify = false\nfit = false\n')
    for file in (
        clf.look_file(look),
        clf.input_file(look, "A"),
        clf.chain_file(look, "A", "cinema"),
        clf.chain_file(look, "B", "monitor"),
    ):
        path = clf.write_clf_file(look, file, tmp_path).path
        read = reader.read_clf_from_file(path)
        assert read.input_descriptor == file.takes
        assert read.output_descriptor == file.gives
        codes = np.random.default_rng(2).uniform(0.1, 0.6, (20, 3))
        found = np.array(
            [reduce(lambda c, node: run(node, c), read.process_nodes, c) for c in codes]
        )
        assert share(found, as_opencolorio_reads(path)(codes)).max() <= ANALYTIC
        limit = 0.02 if file.output else ANALYTIC
        assert share(found, file.exact(codes)).max() <= limit


def test_both_forms_hold_the_same_operations(plain):
    made = Clf(plain.graph.input_transform("A").lower())
    head = ClfHead("x", "a", "b")
    first, second = (made.text(head, one).partition("</OutputDescriptor>") for one in NAMESPACES)
    assert first[2] == second[2] != ""


def test_each_namespace_is_that_of_its_standard(tmp_path):
    """SMPTE ST 2136-1:2024 and Academy S-2014-006 version 3 (check values 5)."""
    made, head = Clf([]), ClfHead("x", "a", "b")
    smpte, academy = made.text(head, "smpte"), made.text(head, "academy")
    assert 'xmlns="http://www.smpte-ra.org/ns/2136-1/2024"' in smpte
    assert re.search(r"<Id>urn:uuid:[0-9a-f-]{36}</Id>", smpte)
    assert 'xmlns="urn:AMPAS:CLF:v3.0"' in academy
    assert 'compCLFversion="3.0"' in academy
    assert re.search(r'id="urn:uuid:[0-9a-f-]{36}"', academy)
    assert "<Id>" not in academy


def test_everybody_opens_a_file_as_it_is(plain, mixed, tmp_path):
    """colour-clf-io and lxml with its default limits, on the file itself; under four megabytes."""
    etree = pytest.importorskip("lxml.etree")
    reader = pytest.importorskip("colour_clf_io")
    for look, file in (
        (plain, clf.input_file(plain, "B")),
        (plain, clf.output_file(plain, "monitor")),
        (mixed, clf.look_file(mixed, None)),
    ):
        path = clf.write_clf_file(look, file, tmp_path).path
        assert path.stat().st_size < 4e6
        assert etree.parse(str(path)).getroot().get("compCLFversion") == "3.0"
        assert reader.read_clf_from_file(str(path)).process_nodes


def test_numbers_are_as_short_as_they_are(tmp_path):
    lattice = np.array([0.0, 0.25, 1.0, -0.5, 12.0, 1e-7, 0.1, 1.5]).repeat(3).reshape(2, 2, 2, 3)
    text = Clf([lattice_transform(lattice)]).text(ClfHead("x", "a", "b"))
    rows = text.partition("<Array")[2].partition(">")[2].partition("<")[0].split("\n")[1:9]
    assert rows[:4] == ["0 0 0", ".25 .25 .25", "1 1 1", "-.5 -.5 -.5"]
    assert rows[4:] == ["12 12 12", "1e-07 1e-07 1e-07", ".1 .1 .1", "1.5 1.5 1.5"]


def test_what_people_wrote_cannot_break_the_xml(tmp_path):
    etree = pytest.importorskip("lxml.etree")
    words = "</Description><Info> & \"quoted\" 'single' \x07 \x00 ümlaut"
    path = tmp_path / "x.clf"
    Clf([]).write(path, ClfHead(words, words, words, (words,), {"AppRelease": words}))
    root = etree.parse(str(path)).getroot()
    kept = words.replace("\x07", "?").replace("\x00", "?")
    ns = "{urn:AMPAS:CLF:v3.0}"
    for name in ("Description", "InputDescriptor", "OutputDescriptor"):
        assert [one.text for one in root.findall(f"{ns}{name}")] == [kept]
    assert root.get("name") == kept
    light = np.array([[0.1, 0.2, 0.3]])
    np.testing.assert_allclose(as_opencolorio_reads(path)(light), light, rtol=1e-6)


def test_the_same_content_is_the_same_file_and_other_content_has_another_id(plain, tmp_path):
    def made(look, name):
        one = clf.write_clf_file(look, clf.look_file(look), tmp_path / name)
        return one.path.read_bytes()

    first, again = made(plain, "a"), made(look_of(RECIPE + SAMPLED), "b")
    assert first == again
    other = made(look_of(RECIPE.replace("stops = 0.3", "stops = 0.4") + SAMPLED), "c")
    ids = [re.search(rb'id="([^"]+)"', text)[1] for text in (first, other)]
    assert ids[0] != ids[1]
    assert not re.search(rb"20\d\d-\d\d-\d\d", first)


def test_a_step_that_the_format_cannot_say_is_refused_not_dropped():
    with pytest.raises(LookkitError, match="no Common LUT Format file"):
        Clf([library().FixedFunctionTransform(library().FIXED_FUNCTION_ACES_GLOW_10)])


@pytest.mark.parametrize("name", sorted(shipped_looks()))
def test_each_shipped_look_is_exact_or_a_lattice_within_a_hundredth(name, tmp_path):
    """The look alone, ACES2065-1, for light as pictures have it."""
    look = look_of(
        f'schema = 1\nname = "x"\nextends = "{name}"\n[outputs.monitor]\noutput = "sRGB"\n'
        + SAMPLED
    )
    one = clf.write_clf_file(look, clf.look_file(look), tmp_path)
    rng = np.random.default_rng(3)
    light = 0.18 * 2.0 ** rng.normal(-0.5, 1.8, (20000, 1)) * 2.0 ** rng.normal(0, 0.3, (20000, 3))
    aim = evaluate(look.graph.look(), light) @ AP1_TO_AP0.T
    found = as_opencolorio_reads(one.path)(light @ AP1_TO_AP0.T)
    limit = ANALYTIC if "no 3D LUT" in one.note else 0.01
    assert np.quantile(share(found, aim), 0.99) <= limit


SAMPLES = (
    "broadcast_profile_lut33.clf", "difficult_syntax.clf", "exponent_all_styles.clf",
    "info_example.clf", "log_all_styles.clf", "lut1d_32f_example.clf", "lut3d_bizarre.clf",
    "matrix_3x4_example.clf", "range.clf", "xyz_to_rgb.clf",
)  # fmt: skip


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("namespace", ["smpte", "academy"])
def test_samples_by_others_survive_our_writer(shared_data, tmp_path, name, namespace):
    """OpenColorIO's own sample files, read by it, written by us, read by it: equal pixels."""
    ocio = library()
    if name.startswith("broadcast") and ocio.GetVersionHex() < 0x02060000:
        pytest.skip("OpenColorIO reads SMPTE's own heads from 2.6 on")
    source = Path(shared_data) / "lut" / name
    group = ocio.Config.CreateRaw().getProcessor(ocio.FileTransform(str(source)))
    path = tmp_path / name
    Clf(list(group.createGroupTransform())).write(path, ClfHead(name, "in", "out"), namespace)
    assert scan_clf(path).errors == ()
    light = np.random.default_rng(4).uniform(-0.2, 1.2, (4000, 3))
    before, after = as_opencolorio_reads(source)(light), as_opencolorio_reads(path)(light)
    assert np.isfinite(before).any()
    np.testing.assert_allclose(after, before, rtol=2e-6, atol=1e-6)


@given(
    st.lists(st.floats(0.5, 2), min_size=6, max_size=6),
    st.lists(st.floats(0.0, 0.3), min_size=3, max_size=3),
    st.floats(0.25, 3),
)
def test_any_cdl_undone_in_a_file_is_undone(tmp_path_factory, positive, offset, saturation):
    """The residual begins with it: the RevNoClamp style of the format, as OpenColorIO runs it.

    In float32: of codes that a power has brought near zero, less would be left.
    """
    one = Correction("x", tuple(positive[:3]), tuple(offset), tuple(positive[3:]), saturation)
    path = tmp_path_factory.mktemp("undo") / "x.clf"
    Clf([undone(one)]).write(path, ClfHead("x", "a", "b"))
    code = np.random.default_rng(1).uniform(0.1, 0.9, (50, 3))
    np.testing.assert_allclose(
        as_opencolorio_reads(path)(one.apply(code)), code, rtol=2e-3, atol=2e-4
    )


@pytest.mark.parametrize("name", list(encodings()))
def test_every_shipped_encoding_decodes_without_a_lattice(tmp_path, name):
    step = InputTransform(encodings()[name])
    steps = sayable(step)
    assert steps is not None
    Clf(steps).write(tmp_path / "x.clf", ClfHead("x", name, "AP1"))
    codes = np.random.default_rng(6).random((5000, 3))
    found = as_opencolorio_reads(tmp_path / "x.clf")(codes)
    assert np.quantile(share(found, step.evaluate(codes)), 0.999) <= ANALYTIC


def test_only_the_system_gamma_of_hlg_needs_a_lattice_among_outputs():
    """BT.2100's system gamma mixes the channels; every other output is curve and matrix."""
    lattices = [name for name, one in outputs().items() if sayable(OutputTransform(one)) is None]
    assert lattices == [name for name in outputs() if "HLG" in name]


def test_a_chain_to_hlg_is_near_the_graph_and_tells_how_far_it_is(tmp_path):
    look = look_of(RECIPE + '[outputs.hlg]\noutput = "Rec.2100 HLG 1000"\n')
    one = clf.write_clf_file(look, clf.chain_file(look, "A", "hlg"), tmp_path)
    assert re.search("a 3D LUT of [0-9]+ points", one.note)
    assert "pictures Delta E 2000" in one.accuracy[0]
    assert one.figures["image-like mean"] <= 0.1
    codes = look.graph.decoding("A").inverse(image_like(np.random.default_rng(77), 20000))
    aim = look.evaluate(codes, camera="A", output="hlg")
    off = np.abs(as_opencolorio_reads(one.path)(codes) - aim).max(axis=1)
    assert np.quantile(off, 0.999) <= 1 / 1023
