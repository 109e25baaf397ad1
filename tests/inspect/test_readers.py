"""Other libraries are really run, and whatever happens to them is told."""

import json
import os
import sys

import numpy as np
import pytest

from lookkit.accuracy.sampling import grid
from lookkit.inspect import readers
from lookkit.inspect.inspection import inspect, probes
from lookkit.inspect.reader_process import line_in, plain_reason
from lookkit.inspect.readers import READERS, Answer, Job, Reading, compare, read_with
from tests.inspect.luts import contrast, written

PIXELS = np.random.default_rng(0).random((16, 3))


@pytest.fixture
def stand_in(tmp_path, monkeypatch):
    """Put a module in front of an installed library, in the processes of readers alone."""

    def put(name: str, text: str) -> None:
        folder = tmp_path / "stand-in"
        folder.mkdir(exist_ok=True)
        (folder / f"{name}.py").write_text(text)
        monkeypatch.setenv("PYTHONPATH", str(folder))

    return put


def test_a_missing_library_is_said_to_be_absent(stand_in, tmp_path):
    stand_in("colour", "raise ImportError('not here')")
    found = inspect(written(tmp_path / "a.cube", grid(3)), readers=["colour"])
    (reading,) = found.readings
    assert reading.verdict == "absent"
    assert str(reading) == "colour-science: not tried, it is not installed: lookkit[match]"


CRASHES = """
import os
__version__ = "0"
def read_LUT(path):
    if "bad" in path:
        os.abort()
    raise ValueError("no luck with " + path)
"""


def test_a_library_that_crashes_harms_one_file_alone(stand_in, tmp_path):
    stand_in("colour", CRASHES)
    names = ["a", "bad", "b", "bad2", "c"]
    paths = [written(tmp_path / f"{name}.cube", grid(2)) for name in names]
    answers = read_with("colour", [Job(path, PIXELS, False) for path in paths])
    crashed = "it crashed on the file"
    lost = "no luck with"
    assert [answer.reason for answer in answers] == [lost, crashed, lost, crashed, lost]
    assert all(answer.result is None for answer in answers)


def test_a_library_that_crashes_as_it_starts_is_told(stand_in, tmp_path):
    stand_in("colour", "import os; os.abort()")
    path = written(tmp_path / "a.cube", grid(2))
    (answer,) = read_with("colour", [Job(path, PIXELS, False)])
    assert answer.library == "colour-science"
    assert answer.reason == "it crashed on the file"


def test_a_library_that_hangs_is_stopped(stand_in, tmp_path, monkeypatch):
    stand_in("colour", "import time\n__version__ = '0'\ndef read_LUT(p): time.sleep(60)\n")
    monkeypatch.setattr(readers, "SECONDS", 2)
    path = written(tmp_path / "a.cube", grid(2))
    (answer,) = read_with("colour", [Job(path, PIXELS, False)])
    assert answer.reason == "it took over 2 s"


@pytest.mark.skipif(sys.platform != "linux", reason="memory is limited on Linux")
def test_a_library_that_fills_the_memory_is_stopped(stand_in, tmp_path):
    stand_in("colour", "__version__ = '0'\ndef read_LUT(p): bytearray(1 << 40)\n")
    path = written(tmp_path / "a.cube", grid(2))
    (answer,) = read_with("colour", [Job(path, PIXELS, False)])
    assert answer.reason == "it needs too much memory"


def test_a_module_in_the_working_folder_is_not_run(tmp_path, monkeypatch):
    (tmp_path / "json.py").write_text("raise SystemExit(1)")
    (tmp_path / "PyOpenColorIO.py").write_text("raise SystemExit(1)")
    monkeypatch.chdir(tmp_path)
    path = written(tmp_path / "a.cube", grid(2))
    (answer,) = read_with("ocio", [Job(path, PIXELS, False)])
    assert answer.result is not None


@pytest.mark.parametrize("name", ["plain", "with blank", "with'quote", "with:colon,comma", "ü"])
def test_any_file_name_reaches_the_readers(name, tmp_path):
    pytest.importorskip("av")
    path = written(tmp_path / f"{name}.cube", contrast(5))
    for reader in ("ocio", "ffmpeg"):
        (answer,) = read_with(reader, [Job(path, PIXELS, False)])
        assert answer.result is not None, (reader, answer.reason)


def test_a_relative_path_reaches_the_readers(tmp_path, monkeypatch):
    written(tmp_path / "a.cube", grid(2))
    monkeypatch.chdir(tmp_path)
    found = inspect("a.cube", readers=["ocio"])
    assert [reading.verdict for reading in found.readings] == ["same"]


def test_a_rewritten_file_is_read_anew(tmp_path):
    path = written(tmp_path / "a.cube", grid(3))
    assert inspect(path, readers=["ocio"]).readings[0].verdict == "same"
    before = path.stat()
    written(path, grid(3) ** 2)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert inspect(path, readers=["ocio"]).readings[0].verdict == "same"


def test_ffmpeg_is_found_to_pass_over_a_domain_before_the_size(tmp_path):
    # FFmpeg 8 and before read the domain only behind LUT_3D_SIZE; found by running it.
    pytest.importorskip("av")
    path = written(tmp_path / "a.cube", contrast(5))
    head, _, body = path.read_text().partition("LUT_3D_SIZE 5\n")
    path.write_text(f"{head}DOMAIN_MAX 2 2 2\nLUT_3D_SIZE 5\n{body}")
    tried = inspect(path, readers=["ocio", "ffmpeg"])
    found = {reading.reader: reading for reading in tried.readings}
    assert found["ocio"].verdict == "same"
    assert found["ffmpeg"].verdict == "differs"
    assert found["ffmpeg"].difference > 0.1
    assert "MISREADS it, by up to" in str(found["ffmpeg"])


def test_a_reader_that_does_not_know_a_format_is_not_run():
    assert not readers.knows("colour", readers.Path("a.3dl"))
    assert readers.knows("colour", readers.Path("a.CUBE"))
    assert readers.knows("ocio", readers.Path("a.anything"))


def verdict(ours, theirs) -> Reading:
    pixels = np.zeros((len(ours), 3))
    theirs = None if theirs is None else np.array(theirs)
    return compare("ocio", pixels, np.array(ours), Answer("a library", theirs, "why"))


def test_rounding_is_the_same_and_a_difference_is_measured():
    assert verdict([[0, 0.5, 1.0]], [[0, 0.5, 1.0 + 9e-6]]).verdict == "same"
    found = verdict([[0, 0.5, 1.0], [0, 0, 0]], [[0, 0.5, 1.0], [0, 0.25, 0]])
    assert found.verdict == "differs"
    assert found.difference == 0.25
    assert found.theirs == (0, 0.25, 0)


def test_a_large_value_is_compared_by_its_size():
    assert verdict([[0, 0, 1e4]], [[0, 0, 1e4 + 0.05]]).verdict == "same"


def test_what_is_no_number_is_compared():
    nan = float("nan")
    assert verdict([[nan, 0, 0]], [[nan, 0, 0]]).verdict == "same"
    assert "where the file has no number" in str(verdict([[nan, 0, 0]], [[0, 0, 0]]))
    assert verdict([[0, 0, 0]], [[nan, 0, 0]]).verdict == "differs"
    assert verdict([[0, 0, 0]], None).verdict == "refuses"


@pytest.mark.parametrize(
    ("text", "reason", "line"),
    [
        (
            "The specified transform file '/x/a.cube' could not be loaded.\nAll formats have been "
            "tried.\n\n    'some_format' failed with: Error parsing Some .cube file (/x/a.cube).  "
            "At line (2): '0 0'.  Malformed color triples specified.",
            "At line (2): '0 0'. Malformed color triples specified.",
            2,
        ),
        ("[Errno 1094995529] Invalid data found: '/x/a.cube'", "invalid data", 0),
        ("x; last error log: [lut3d] 3D LUT is empty", "[lut3d] 3D LUT is empty", 0),
        ("", "invalid data", 0),
        ("a\x00b\x1b[31m" + "c" * 500, "a b [31m" + "c" * 189 + "...", 0),
    ],
)
def test_a_complaint_becomes_one_plain_line(text, reason, line):
    found = plain_reason(ValueError(text), readers.Path("/x/a.cube"))
    assert found == reason
    assert line_in(found) == line


def test_probes_lie_in_the_domain_and_are_the_same_each_time(tmp_path):
    path = written(tmp_path / "a.cube", grid(2))
    function = inspect(path, readers=[]).function
    first = probes(function)
    assert np.array_equal(first, probes(function))
    assert first.min() == 0
    assert first.max() == 1
    assert np.array_equal(first, first.astype(np.float32))


def test_every_reader_is_named():
    assert set(readers.LIBRARIES) == set(readers.ENDINGS) > set(READERS)
    assert json.dumps(READERS)
