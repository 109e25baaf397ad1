"""Every file of the corpus of bad .cube files is found out, by line."""

from pathlib import Path

import numpy as np
import pytest

from lookkit.errors import LutFileError
from lookkit.inspect.readers import READERS, Reading
from lookkit.inspect.repairs import repair
from lookkit.lutfile.cube import read_cube
from lookkit.lutfile.cube_scan import scan_cube, scan_cube_bytes
from tests.lutfile.bad_cubes import BAD_CUBES, GOOD, SIZE, BadCube, write
from tests.lutfile.who_reads_bad_cubes import readings_of, table

TABLE = Path(__file__).with_name("who_reads_bad_cubes.md")


def test_the_corpus_is_large_and_has_no_two_alike():
    assert len(BAD_CUBES) >= 60
    assert len({bad.name for bad in BAD_CUBES}) == len(BAD_CUBES)
    assert len({bad.data for bad in BAD_CUBES}) == len(BAD_CUBES)
    assert all(bad.wrong for bad in BAD_CUBES)


def test_the_good_file_that_the_bad_are_made_from_is_sound():
    read = scan_cube_bytes(GOOD.encode(), Path("good.cube"))
    assert not read.faults
    assert read.lattice.size == SIZE


@pytest.mark.parametrize("bad", BAD_CUBES, ids=lambda bad: bad.name)
def test_each_fault_is_found_on_its_line_and_no_other(bad: BadCube):
    read = scan_cube_bytes(bad.data, Path("bad.cube"))
    found = [(fault.line, fault.code) for fault in read.faults]
    assert sorted(found) == sorted(bad.wrong)


@pytest.mark.parametrize("bad", BAD_CUBES, ids=lambda bad: bad.name)
def test_the_strict_reader_refuses_what_is_more_than_a_warning(bad: BadCube, tmp_path):
    path = tmp_path / "bad.cube"
    path.write_bytes(bad.data)
    read = scan_cube(path)
    if read.errors:
        with pytest.raises(LutFileError) as caught:
            read_cube(path)
        lines = [problem.line for problem in caught.value.problems]
        assert lines == [fault.line for fault in read.errors]
    else:
        # A warning never hides what the numbers are.
        assert np.isfinite(read_cube(path).lattice.values).all()


@pytest.fixture(scope="module")
def corpus(tmp_path_factory) -> list[Path]:
    return write(tmp_path_factory.mktemp("corpus"))


@pytest.fixture(scope="module")
def repaired(corpus, tmp_path_factory) -> list[Path]:
    folder = tmp_path_factory.mktemp("repaired")
    made = []
    for path in corpus:
        try:
            made.append(repair(scan_cube(path), folder / path.name).path)
        except LutFileError:
            assert not (folder / path.name).exists()
    return made


def test_what_can_be_repaired_holds_the_numbers_that_were_meant(repaired):
    good = scan_cube_bytes(GOOD.encode(), Path("good.cube")).lattice.values
    assert len(repaired) > 30
    for path in repaired:
        read = read_cube(path)
        assert not read.faults, path.name
        assert np.array_equal(read.lattice.values, good), path.name


@pytest.fixture(scope="module")
def readings(corpus, repaired) -> dict[str, list[Reading]]:
    """What each library makes of each file of the corpus, then of each repaired file."""
    return readings_of([*corpus, *repaired])


@pytest.mark.parametrize("reader", READERS)
def test_other_readers_read_the_repaired_files_alike(reader, corpus, repaired, readings):
    # The judges are OpenColorIO, colour-science and FFmpeg themselves.
    found = readings[reader][len(corpus) :]
    if not found[0].library:
        pytest.skip(f"{reader} is not installed")
    for path, reading in zip(repaired, found, strict=True):
        assert reading.verdict == "same", (path.name, str(reading))


def test_the_table_of_what_others_do_is_what_the_script_writes(corpus, readings):
    written = TABLE.read_text(encoding="utf-8")
    found = {name: of_all[: len(corpus)] for name, of_all in readings.items()}
    missing = [name for name, of_corpus in found.items() if not of_corpus[0].library]
    if missing:
        pytest.skip(f"not installed: {', '.join(missing)}")
    libraries = [of_corpus[0].library for of_corpus in found.values()]
    if not all(library in written for library in libraries):
        pytest.skip(f"the table is of other versions than {', '.join(libraries)}")
    assert table(found) == written
