"""Whatever bytes a file holds, a reader names faults or gives a LUT: no crash, no hang."""

import json
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.lutfile.model import Curve, Lattice, LutFile
from lookkit.lutfile.read import OTHERS, STRICT, XML, scan_lut
from tests.lutfile.bad_cubes import GOOD
from tests.lutfile.test_formats import CLF, CSP, DL, SPI1D, SPI3D

SEEDS = {
    ".cube": GOOD,
    ".clf": CLF,
    ".3dl": DL,
    ".csp": CSP,
    ".spi1d": SPI1D,
    ".spi3d": SPI3D,
}
FOUND = Path(__file__).with_name("fuzzed.json")
"""What a coverage-guided fuzzer found worth keeping: see `fuzz.py`."""


def check(read: LutFile) -> None:
    """What must hold of any reading of any bytes."""
    for fault in read.faults:
        assert fault.line >= 0
        assert fault.code
        assert fault.found
        assert len(str(fault.problem("x"))) < 1000
        assert str(fault.problem("x")).isprintable()
    for stage in read.stages:
        if isinstance(stage, Curve):
            assert stage.table.ndim == 2
        elif isinstance(stage, Lattice):
            assert stage.values.shape == (stage.size, stage.size, stage.size, 3)
        if isinstance(stage, Curve | Lattice) and not read.errors:
            values = stage.table if isinstance(stage, Curve) else stage.values
            assert np.isfinite(values).all()
            assert (stage.low < stage.high).all()
    if read.format in ("cube", "spi1d", "spi3d") and not read.errors:
        assert read.stages


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("bytes")


def read_as(place: Path, ending: str, data: bytes) -> LutFile:
    path = place / f"x{ending}"
    path.write_bytes(data)
    return scan_lut(path)


@pytest.mark.parametrize("ending", [*STRICT, *XML, *OTHERS])
@given(data=st.binary(max_size=400))
def test_random_bytes_are_found_out(place, ending, data):
    check(read_as(place, ending, data))


WORDS = st.sampled_from(
    ["LUT_3D_SIZE", "LUT_1D_SIZE", "DOMAIN_MIN", "DOMAIN_MAX", "TITLE", "LUT_3D_INPUT_RANGE",
     "#", '"', "2", "3", "-1", "1e39", "nan", "inf", "0,5", ",", "0.5", ".", "1e", "\n", "\r",
     "\t", " ", "\ufeff", "\x00", "\x1a", "\u00e9", "CSPLUTV100", "3D", "SPILUT 1.0", "{", "}",
     "From", "Length", "Components", "Version", "<ProcessList>", "<Array dim='2 2'>", "&#0;",
     "9" * 30]
)  # fmt: skip


@pytest.mark.parametrize("ending", STRICT)
@given(words=st.lists(WORDS, max_size=80))
def test_random_words_are_found_out(place, ending, words):
    check(read_as(place, ending, " ".join(words).encode()))


@pytest.mark.parametrize("ending", STRICT)
@given(data=st.data())
def test_a_good_file_with_a_piece_changed_is_found_out(place, ending, data):
    good = SEEDS[ending].encode()
    start = data.draw(st.integers(0, len(good)))
    end = data.draw(st.integers(start, min(start + 40, len(good))))
    piece = data.draw(st.one_of(st.binary(max_size=8), WORDS.map(str.encode)))
    check(read_as(place, ending, good[:start] + piece + good[end:]))


@pytest.mark.parametrize("case", json.loads(FOUND.read_text()), ids=lambda case: case["about"])
def test_what_the_fuzzer_kept_stays_found_out(place, case):
    check(read_as(place, case["ending"], bytes.fromhex(case["hex"])))


@pytest.mark.parametrize(
    ("ending", "text"),
    [
        (".cube", "LUT_3D_SIZE 100000\n0 0 0\n"),
        (".cube", "LUT_3D_SIZE 256\n0 0 0\n"),
        (".cube", "LUT_1D_SIZE 2000000000\n0 0 0\n"),
        (".spi1d", "Version 1\nFrom 0 1\nLength 1048576\nComponents 3\n{\n0 0 0\n}\n"),
        (".spi3d", "SPILUT 1.0\n3 3\n256 256 256\n0 0 0 0 0 0\n"),
        (".csp", "CSPLUTV100\n3D\n" + "2\n0 1\n0 1\n" * 3 + "256 256 256\n0 0 0\n"),
        (".clf", CLF.replace('dim="2 1"', 'dim="65536 3"')),
    ],
)
def test_a_size_that_the_file_does_not_hold_takes_no_memory(place, ending, text):
    tracemalloc.start()
    try:
        read = read_as(place, ending, text.encode())
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert read.errors
    assert peak < 4 << 20


@pytest.mark.parametrize("ending", [*STRICT, ".cdl"])
@pytest.mark.parametrize(
    "data",
    [b"\n" * 3_000_000, b"0 " * 1_500_000, b"#\n" * 500_000, b"9" * 3_000_000, b"<" * 3_000_000],
    ids=["blank", "one-line", "comments", "digits", "brackets"],
)
def test_a_long_file_of_nothing_is_found_out(place, ending, data):
    read = read_as(place, ending, data)
    assert read.errors
    check(read)
