"""A slice of the fuzzing: a few hundred changed files through each harness."""

import struct
import zlib

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.media.stills import read_still, write_still
from tests.fuzz import run


@pytest.mark.parametrize(("name", "cases"), [("luts", 600), ("pictures", 300), ("clips", 60)])
def test_changed_files_are_refused_in_words_or_read(name, cases):
    harness = pytest.importorskip(f"tests.fuzz.{name}")
    found = [(number, told) for number in range(cases) if (told := run.one(harness, number))]
    assert not found, found[0]


@pytest.mark.parametrize("size", [(60_000, 60_000), (20_000, 20_000)])
def test_a_picture_that_claims_a_size_it_cannot_hold_is_refused_before_memory_is_taken(
    tmp_path, size
):
    path = tmp_path / "a.png"
    write_still(path, np.zeros((4, 4, 3), np.float32), bits=8)
    data = bytearray(path.read_bytes())
    data[16:24] = struct.pack(">II", *size)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    path.write_bytes(data)
    import tracemalloc

    tracemalloc.start()
    try:
        with pytest.raises(InputError, match="claims"):
            read_still(path)
        assert tracemalloc.get_traced_memory()[1] < 50 << 20
    finally:
        tracemalloc.stop()
