"""Every shipped look, three cameras and two outputs: all readers agree on all its files.

Small: lattices of 17 points, sampled.
"""

import pytest

from lookkit.handoff.timeline import mark_timeline
from lookkit.handoff.verify import verify
from lookkit.look import shipped_looks
from tests.conftest import samples_folder
from tests.handoff.edits import PLAIN
from tests.handoff.verifying import bad, built, few_points

for library in ("av", "colour", "colour_clf_io", "lxml", "opentimelineio"):
    pytest.importorskip(library)

RECIPE = """
schema = 1
name = "Shipped"
extends = "{look}"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "S-Log3/S-Gamut3.Cine"
[cameras.C]
encoding = "V-Log"
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.cinema]
output = "P3-D65 2.6"
[[shots]]
match = "A*"
camera = "A"
[[shots]]
match = "B*"
camera = "B"
[deliver]
sizes = [17]
fit = false
certify = false
formats = ["cube", "stills", "amf"]
"""
READERS = [
    ("graph", ".cube", 6),
    ("OpenColorIO", ".cube", 6),
    ("colour-science", ".cube", 6),
    ("FFmpeg", ".cube", 6),
    ("graph", ".png", 1),
    ("FFmpeg", ".png", 1),
    ("graph", ".clf", 6),
    ("colour-clf-io", ".clf", 6),
    ("links", ".amf", 6),
    ("graph", ".amf", 6),
    ("OpenTimelineIO", ".edl", 1),
]
"""Who reads what, and of how many files: a look, inputs of three cameras and two outputs as CLF."""


@pytest.fixture(scope="module", params=shipped_looks())
def report(request, tmp_path_factory):
    place = tmp_path_factory.mktemp("shipped")
    with few_points():
        folder = built(place, RECIPE.format(look=request.param))
        (place / "cut.edl").write_text(PLAIN)
        mark_timeline(folder, place / "cut.edl", folder / "cut.edl", cdl="none")
        return verify(folder, samples_folder() / "amf")


def agreeing(report, reader, ending):
    return {
        row.file
        for row in report.rows
        if row.reader.startswith(reader) and row.file.endswith(ending) and row.verdict == "agrees"
    }


def test_every_reader_agrees_on_every_file(report):
    assert bad(report) == []
    found = {
        (reader, ending): len(agreeing(report, reader, ending)) for reader, ending, _ in READERS
    }
    assert found == {(reader, ending): count for reader, ending, count in READERS}


def test_every_amf_is_valid_by_the_published_schema(report, shared_data):
    if not (shared_data / "amf" / "acesMetadataFile.xsd").is_file():
        pytest.skip("the published schema of AMF is not among the samples")
    assert len(agreeing(report, "lxml", ".amf")) == 6
