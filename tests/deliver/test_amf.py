"""AMF: valid by the published schema, its links and hashes true, its dates and ids repeatable."""

import hashlib
import uuid
from base64 import b64decode
from datetime import UTC, datetime, timedelta, timezone
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from lookkit.accuracy.audit import Audited
from lookkit.deliver import amf
from lookkit.deliver.agreement import camera_colours
from lookkit.errors import InputError
from lookkit.handoff.build import build
from lookkit.handoff.verify import _truths, verify
from lookkit.handoff.verify.amfs import amf_rows
from lookkit.handoff.verify.listing import read_listing
from lookkit.lattice.of_graph import Baking
from lookkit.look import Look
from lookkit.ocio import Processor, library
from lookkit.recipe.load import parse_recipe
from tests.handoff.verifying import ONE_OUTPUT, bad, copied, relist, with_formats

AS_DELIVERED = True

NS = {"a": amf.NAMESPACE}
TEXT = ONE_OUTPUT.replace(
    "[scenes.dusk]",
    """[outputs.aces]
output = "Rec.709 BT.1886"
rendering = { kind = "aces-2" }
[scenes.dusk]
note = "<&>"
""",
)
TEXT = with_formats("amf", text=TEXT, certify=False)


def look_of(text=TEXT):
    return Look(parse_recipe(text), text)


@pytest.fixture(scope="module")
def look():
    return look_of()


@pytest.fixture(scope="module")
def folder(look, tmp_path_factory):
    return build(look, tmp_path_factory.mktemp("amf")).folder


@pytest.fixture(scope="module")
def schema(shared_data):
    etree = pytest.importorskip("lxml.etree")
    path = shared_data / "amf" / "acesMetadataFile.xsd"
    if not path.is_file():
        pytest.skip("the published AMF schema is not among the samples")
    return etree.XMLSchema(etree.parse(str(path)))


def faults(folder, *names, schemas=None):
    """What verify finds in some AMFs of a folder."""
    listing = read_listing(folder)
    truths, _ = _truths(listing)
    files = {name: listing.entries[name] for name in names}
    rows = amf_rows(files, listing.entries, folder, truths, schemas)
    return [(row.file, row.reader, row.text) for row in rows if row.bad]


def roots(folder):
    return {path.name: ET.parse(path).getroot() for path in sorted(folder.glob("*.amf"))}


def test_there_is_one_for_each_camera_output_and_scene(folder):
    names = set(roots(folder))
    assert len(names) == 6
    assert "A_dusk_LogC4_full_to_monitor_Rec.709-BT.1886_full_2000-01-01_000000Z.amf" in names
    assert not any(name.startswith("B_dusk") for name in names)


def test_each_is_valid_by_the_published_schema(folder, schema):
    """ampas/aces-amf, acesMetadataFile.xsd, through lxml."""
    from lxml import etree

    for path in folder.glob("*.amf"):
        assert schema.validate(etree.parse(str(path))), schema.error_log


def test_the_schema_that_proves_them_can_fail(folder, schema):
    from lxml import etree

    path = next(folder.glob("*.amf"))
    root = etree.parse(str(path))
    del root.find(".//a:lookTransform", NS).attrib["applied"]
    assert not schema.validate(root)


def test_every_link_is_below_the_file_and_its_hash_is_true(folder):
    for root in roots(folder).values():
        found = 0
        for element in root.iter():
            link = element.find("a:file", NS)
            if link is None:
                continue
            assert ".." not in link.text
            assert not link.text.startswith("/")
            digest = hashlib.sha256((folder / link.text).read_bytes()).digest()
            assert b64decode(element.find("a:hash", NS).text) == digest
            found += 1
        assert found in (2, 3)


def test_nothing_is_applied_yet_and_every_transform_says_so(folder):
    for root in roots(folder).values():
        pipeline = root.find("a:pipeline", NS)
        transforms = [one for one in pipeline if one.tag.endswith("Transform")]
        assert [one.tag.rpartition("}")[2] for one in transforms] == [
            "inputTransform", "lookTransform", "outputTransform"
        ]  # fmt: skip
        assert {one.get("applied") for one in transforms} == {"false"}


def test_ids_are_uuids_of_version_5_and_all_differ(folder):
    found = [
        element.text
        for root in roots(folder).values()
        for element in root.iter(f"{{{amf.NAMESPACE}}}uuid")
    ]
    assert len(found) == 12 == len(set(found))
    assert all(uuid.UUID(one.removeprefix("urn:uuid:")).version == 5 for one in found)


def test_the_files_in_a_row_are_the_picture_of_the_graph(folder, look):
    """Through OpenColorIO, 99.9 % of pictures: half of a just visible difference.

    That Delta E 2000 of 1 is about just visible: common practice, no source. The look is
    operations alone; the print's fit into the monitor's gamut is a lattice.
    """
    ocio = library()
    for one in amf.files(look):
        if one.transform_id is not None:
            continue
        steps = [ocio.FileTransform(str(folder / file.path)) for file in one.files]
        step = look.graph.decoding(one.camera, one.scene)
        chain = look.graph.chain(one.camera, one.output, one.scene)
        baking = Baking.of(chain, step, look.graph.output(one.output))
        codes = camera_colours(step)["image-like"]
        audited = Audited(codes, baking.exact(codes), baking.light)
        off = audited.delta_e_2000(Processor(steps).apply_exact(codes))
        assert np.quantile(off, 0.999) <= 0.5


def test_a_rendering_of_aces_is_named_by_its_published_id(folder):
    root = roots(folder)["A_LogC4_full_to_aces_Rec.709-BT.1886_full_2000-01-01_000000Z.amf"]
    text = root.findtext(".//a:outputTransform/a:transformId", namespaces=NS)
    assert text == (
        "urn:ampas:aces:transformId:v2.0:Output.Academy."
        "Rec709-D65_100nit_in_Rec709-D65_BT1886.a2.v1"
    )


def test_the_ids_of_aces_outputs_are_those_that_opencolorio_publishes():
    """The `amf_transform_ids` of OpenColorIO's builtin ACES 2 config."""
    ocio = library()
    config = ocio.Config.CreateFromFile("ocio://studio-config-latest")
    published = set()
    for space in config.getColorSpaces(ocio.SEARCH_REFERENCE_SPACE_ALL, ocio.COLORSPACE_ALL):
        published |= set(space.getInterchangeAttributes().get("amf_transform_ids", "").split())
    assert len(published) > 20
    assert {amf._ID.format(middle) for middle in amf.ACES_OUTPUTS.values()} <= published


def test_the_date_is_the_given_one_then_the_environments_then_a_constant(look, monkeypatch):
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    assert amf.dated(look) == amf.UNDATED
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    assert amf.dated(look) == datetime(2023, 11, 14, 22, 13, 20, tzinfo=UTC)
    east = timezone(timedelta(hours=2))
    given = look.delivering(date=datetime(2026, 5, 1, 1, 0, tzinfo=east))
    assert amf.dated(given) == datetime(2026, 4, 30, 23, 0, tzinfo=UTC)
    assert all("2026-04-30_230000Z" in one.name for one in amf.files(given))
    assert given.recipe.deliver.scenes == look.recipe.deliver.scenes


def test_a_date_in_the_recipe_needs_its_zone():
    with pytest.raises(InputError, match=r"deliver\.date"):
        parse_recipe(f"{TEXT}date = 2026-05-01T10:00:00\n")
    dated = look_of(f"{TEXT}date = 2026-05-01T10:00:00Z\n")
    assert amf.dated(dated) == datetime(2026, 5, 1, 10, tzinfo=UTC)


def test_a_source_date_that_is_none_is_bad_input(look, monkeypatch, tmp_path):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    with pytest.raises(InputError, match="SOURCE_DATE_EPOCH is 'yesterday'"):
        build(look, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_verify_tells_that_the_schema_is_not_here(folder):
    report = verify(folder, readers=())
    assert bad(report) == []
    rows = [row for row in report.rows if row.file.endswith(".amf") and row.verdict == "absent"]
    assert len(rows) == 6
    assert all("schema not here" in row.text for row in rows)


def test_verify_validates_with_the_schema_that_it_is_given(folder, schema, shared_data):
    report = verify(folder, schemas=shared_data / "amf", readers=())
    assert bad(report) == []
    valid = [row for row in report.rows if "valid by acesMetadataFile.xsd" in row.text]
    assert len(valid) == 6


@pytest.mark.parametrize(
    ("old", "new", "reader", "words"),
    [
        ("clf/A/", "../clf/A/", "links", "leads out"),
        ("clf/A/", "clf/B/", "links", "not there"),
        ("<aces:amfInfo>", '<aces:amfInfo extra="1">', "lxml", "amfInfo"),
        ('applied="false"', 'applied="perhaps"', "lxml", "perhaps"),
    ],
)
def test_what_is_wrong_with_an_amf_is_named(
    folder, schema, shared_data, tmp_path, old, new, reader, words
):
    copy = copied(folder, tmp_path)
    name = "A_LogC4_full_to_monitor_Rec.709-BT.1886_full_2000-01-01_000000Z.amf"
    text = (copy / name).read_text()
    assert old in text
    (copy / name).write_text(text.replace(old, new))
    relist(copy, name)
    found = faults(copy, name, schemas=shared_data / "amf")
    assert [(file, by.split()[0]) for file, by, _ in found] == [(name, reader)]
    assert words in found[0][2]


def test_a_hash_that_is_not_that_of_the_file_is_named(folder, tmp_path):
    copy = copied(folder, tmp_path)
    names = [path.name for path in copy.glob("A_LogC4*monitor*.amf")]
    text = (copy / names[0]).read_text()
    first = text.partition('sha256">')[2][:10]
    (copy / names[0]).write_text(text.replace(first, first[::-1]))
    relist(copy, *names)
    ((file, reader, words),) = faults(copy, *names)
    assert (file, reader) == (names[0], "links")
    assert "hash" in words


def test_an_amf_that_names_the_look_of_another_scene_is_found_by_its_pixels(folder, tmp_path):
    copy = copied(folder, tmp_path)
    plain, dusk = sorted(copy.glob("A_*monitor*.amf"), key=lambda path: "dusk" in path.name)
    relinked = plain.read_text(), dusk.read_text()
    plain.write_text(relinked[1])
    dusk.write_text(relinked[0])
    relist(copy, plain.name, dusk.name)
    found = faults(copy, plain.name, dusk.name)
    assert {(file, reader) for file, reader, _ in found} == {
        (plain.name, "graph"), (dusk.name, "graph")
    }  # fmt: skip


def test_entities_in_an_amf_are_refused_before_anything_reads_it(folder, tmp_path):
    copy = copied(folder, tmp_path)
    path = next(copy.glob("A_LogC4*monitor*.amf"))
    body = path.read_text().partition("?>")[2]
    entity = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
    path.write_text(f'<?xml version="1.0"?>{entity}{body}'.replace("camera A", "&a;"))
    relist(copy, path.name)
    ((file, reader, words),) = faults(copy, path.name)
    assert (file, reader) == (path.name, "lookkit")
    assert "document type" in words
