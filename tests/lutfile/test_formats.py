"""The strict readers of .clf, .3dl, .csp, .spi1d and .spi3d."""

from pathlib import Path

import numpy as np
import pytest

from lookkit.errors import InputError, LutFileError
from lookkit.inspect.function import function_of
from lookkit.inspect.readers import Job, read_with
from lookkit.lutfile.model import Points
from lookkit.lutfile.read import read_lut, scan_lut

RNG = np.random.default_rng(3)


def faults_in(tmp_path: Path, name: str, text: str | bytes) -> list[tuple[int, str]]:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return [(fault.line, fault.code) for fault in scan_lut(path).faults]


def spi1d(rows: np.ndarray, low: float = 0.0, high: float = 1.0) -> str:
    body = "\n".join(" ".join(f"{value:.7f}" for value in row) for row in rows)
    head = f"Version 1\nFrom {low} {high}\nLength {len(rows)}\nComponents {rows.shape[1]}\n"
    return f"{head}{{\n{body}\n}}\n"


def spi3d(values: np.ndarray, order: list[tuple[int, int, int]]) -> str:
    size = len(values)
    rows = [f"{r} {g} {b} " + " ".join(f"{v:.7f}" for v in values[r, g, b]) for r, g, b in order]
    return f"SPILUT 1.0\n3 3\n{size} {size} {size}\n" + "\n".join(rows) + "\n"


def places(size: int) -> list[tuple[int, int, int]]:
    return [(r, g, b) for r in range(size) for g in range(size) for b in range(size)]


def threedl(codes: np.ndarray, positions: str) -> str:
    size = len(codes)
    rows = [" ".join(str(v) for v in codes[place]) for place in places(size)]
    return positions + "\n" + "\n".join(rows) + "\n"


def csp(kind: str, curve: str, body: str) -> str:
    return f"CSPLUTV100\n{kind}\n\nBEGIN METADATA\nmade by hand\nEND METADATA\n\n{curve}\n{body}"


STRAIGHT = "2\n0 1\n0 1\n" * 3


def good_files() -> dict[str, str]:
    lattice = RNG.random((4, 4, 4, 3))
    shuffled = places(4)
    RNG.shuffle(shuffled)
    by_blue = [(r, g, b) for b in range(4) for g in range(4) for r in range(4)]
    rows = "".join(" ".join(f"{v:.7f}" for v in lattice[place]) + "\n" for place in by_blue)
    return {
        "three.spi1d": spi1d(RNG.random((17, 3)), -0.1, 1.5),
        "one.spi1d": spi1d(RNG.random((9, 1))),
        "ordered.spi3d": spi3d(lattice, places(4)),
        "shuffled.spi3d": spi3d(lattice, shuffled) + "# comment\n",
        "ten.3dl": threedl(RNG.integers(0, 1024, (5, 5, 5, 3)), "0 256 512 767 1023"),
        "twelve.3dl": threedl(RNG.integers(0, 4096, (5, 5, 5, 3)), "0 256 512 767 1023"),
        "sixteen.3dl": threedl(RNG.integers(0, 65536, (5, 5, 5, 3)), "0 256 512 767 1023"),
        "lattice.csp": csp("3D", STRAIGHT, "4 4 4\n" + rows),
        "curve.csp": csp("1D", STRAIGHT, "3\n0 0 0\n0.4 0.5 0.6\n1 1 0.9\n"),
        "wide.csp": csp("3D", "2\n0 4\n0 1\n" * 3, "4 4 4\n" + rows),
    }


@pytest.mark.parametrize(("name", "text"), good_files().items())
def test_a_good_file_is_read_as_opencolorio_reads_it(name, text, tmp_path):
    # The judge is OpenColorIO, reading the same file.
    path = tmp_path / name
    path.write_text(text)
    function = function_of(read_lut(path))
    assert function is not None
    pixels = function.over(RNG.random((300, 3))).astype(np.float32).astype(np.float64)
    (answer,) = read_with("ocio", [Job(path, pixels, function.curves_only)])
    assert answer.result is not None, answer.reason
    assert np.abs(answer.result - function(pixels)).max() < 5e-6


def test_good_files_are_read_as_colour_science_reads_them(tmp_path):
    pytest.importorskip("colour")
    jobs, ours = [], []
    for name in ("three.spi1d", "one.spi1d", "ordered.spi3d", "lattice.csp"):
        path = tmp_path / name
        path.write_text(good_files()[name])
        function = function_of(read_lut(path))
        pixels = function.over(RNG.random((300, 3)))
        jobs.append(Job(path, pixels, function.curves_only))
        ours.append(function(pixels))
    for job, mine, answer in zip(jobs, ours, read_with("colour", jobs), strict=True):
        assert answer.result is not None, (job.path.name, answer.reason)
        assert np.abs(answer.result - mine).max() < 1e-6, job.path.name


def test_curves_through_points_are_kept_as_points(tmp_path):
    path = tmp_path / "a.csp"
    path.write_text(csp("1D", "3\n0 0.5 1\n0 0.25 1\n" * 3, "2\n0 0 0\n1 1 1\n"))
    shaper = read_lut(path).stages[0]
    assert isinstance(shaper, Points)
    assert shaper.apply(np.array([[0.25, 0.5, 2.0]])).tolist() == [[0.125, 0.25, 1.0]]


SPI1D = "Version 1\nFrom 0 1\nLength 2\nComponents 1\n{\n0\n1\n}\n"
SPI3D = "SPILUT 1.0\n3 3\n2 2 2\n" + "".join(f"{r} {g} {b} 0 0 0\n" for r, g, b in places(2))
CSP = csp("1D", STRAIGHT, "2\n0 0 0\n1 1 1\n")
DL = "0 341 682 1023\n" + "1 2 3\n" * 64


@pytest.mark.parametrize(
    ("name", "old", "new", "wrong"),
    [
        ("a.spi1d", "\n1\n}", "\n1.0x\n}", [(7, "bad-number")]),
        ("a.spi1d", "\n1\n}", "\nnan\n}", [(7, "not-finite")]),
        ("a.spi1d", "\n1\n}", "\n0,9\n}", [(7, "comma-decimal")]),
        ("a.spi1d", "\n1\n}", "\n1e40\n}", [(7, "too-large")]),
        ("a.spi1d", "\n1\n}", "\n1 1\n}", [(7, "row-length")]),
        ("a.spi1d", "\n1\n}", "\n1\n2\n}", [(9, "extra-rows")]),
        ("a.spi1d", "\n1\n}", "\n}", [(7, "missing-rows")]),
        ("a.spi1d", "\n}\n", "\n", [(7, "data-not-closed")]),
        ("a.spi1d", "{\n", "", [(7, "data-missing"), (5, "unknown-keyword"),
                                (6, "unknown-keyword"), (7, "unknown-keyword")]),
        ("a.spi1d", "}\n", "}\nmore\n", [(9, "stray-text")]),
        ("a.spi1d", "From 0 1", "From 1 0", [(2, "domain-order")]),
        ("a.spi1d", "From 0 1", "From 0", [(2, "keyword-value")]),
        ("a.spi1d", "From 0 1", "Form 0 1", [(2, "unknown-keyword"), (5, "keyword-missing")]),
        ("a.spi1d", "Length 2", "Length 2\nLength 2", [(4, "duplicate-keyword")]),
        ("a.spi1d", "Length 2", "Length 2000000000", [(3, "size-range")]),
        ("a.spi1d", "Components 1", "Components 4", [(4, "size-range")]),
        ("a.spi3d", "SPILUT 1.0", "SPILUT 2.0", [(1, "header")]),
        ("a.spi3d", "SPILUT 1.0", "# comment\nSPILUT 1.0", [(1, "comment-first")]),
        ("a.spi3d", "3 3\n", "3 4\n", [(2, "header")]),
        ("a.spi3d", "2 2 2\n", "2 2 3\n", [(3, "sizes-unequal")]),
        ("a.spi3d", "2 2 2\n", "2 2\n", [(3, "header")]),
        ("a.spi3d", "2 2 2\n", "256 256 256\n", [(3, "missing-rows")]),
        ("a.spi3d", "2 2 2\n", "99999 99999 99999\n", [(3, "size-range")] * 3),
        ("a.spi3d", "0 0 1 0 0 0\n", "0 0 0 0 0 0\n", [(5, "duplicate-point"),
                                                     (11, "missing-rows")]),
        ("a.spi3d", "0 0 1 0 0 0\n", "0 0 2 0 0 0\n", [(5, "size-range"), (11, "missing-rows")]),
        ("a.spi3d", "0 0 1 0 0 0\n", "0 0 1 0 0\n", [(5, "row-length"), (11, "missing-rows")]),
        ("a.spi3d", "0 0 1 0 0 0\n", "0 0 1 0 inf 0\n", [(5, "not-finite")]),
        ("a.spi3d", "1 1 1 0 0 0\n", "", [(10, "missing-rows")]),
        ("a.csp", "CSPLUTV100", "CSPLUTV200", [(1, "header")]),
        ("a.csp", "1D\n", "2D\n", [(2, "header")]),
        ("a.csp", "END METADATA\n", "", [(4, "data-missing")]),
        ("a.csp", "1 1 1\n", "1 1\n", [(20, "row-length")]),
        ("a.csp", "1 1 1\n", "", [(19, "missing-rows")]),
        ("a.csp", "1 1 1\n", "1 1 1\n1 1 1\n", [(21, "extra-rows")]),
        ("a.csp", "2\n0 1\n0 1\n2", "2\n1 0\n0 1\n2", [(9, "domain-order")]),
        ("a.csp", "2\n0 1\n0 1\n2", "99999\n0 1\n0 1\n2", [(8, "size-range")]),
        ("a.3dl", "1 2 3\n" * 64, "1 2 3\n" * 63, [(64, "missing-rows")]),
        ("a.3dl", "1 2 3\n" * 64, "1 2 3\n" * 65, [(66, "extra-rows")]),
        ("a.3dl", "1 2 3\n" * 64, "1 2 3\n" * 63 + "1 2 x\n", [(65, "bad-number")]),
        ("a.3dl", "1 2 3\n" * 64, "1 2 3\n" * 63 + "1 2 0.5\n", [(65, "not-whole")]),
        ("a.3dl", "1 2 3\n" * 64, "1 2 3\n" * 63 + "1 2 -5\n", [(65, "negative")]),
        ("a.3dl", "1 2 3\n" * 64, "1 2 3\n" * 63 + "1 2 70000\n", [(0, "too-large")]),
        ("a.3dl", "0 341", "0 300", [(1, "positions-uneven")]),
        ("a.3dl", "0 341 682 1023", "0 256 512 767 1023", [(1, "sizes-unequal")]),
        ("a.3dl", "0 341 682 1023\n", "", [(1, "positions-missing")]),
        ("a.3dl", "0 341 682 1023\n", "hello\n0 341 682 1023\n", [(1, "stray-text")]),
    ],
)  # fmt: skip
def test_each_fault_is_found_on_its_line(name, old, new, wrong, tmp_path):
    good = {".spi1d": SPI1D, ".spi3d": SPI3D, ".csp": CSP, ".3dl": DL}[Path(name).suffix]
    assert faults_in(tmp_path, f"good-{name}", good) == []
    assert old in good
    assert sorted(faults_in(tmp_path, name, good.replace(old, new, 1))) == sorted(wrong)


CLF = """<?xml version="1.0" encoding="UTF-8"?>
<ProcessList id="a" compCLFversion="3.0">
  <Matrix inBitDepth="32f" outBitDepth="32f">
    <Array dim="3 3">
      1 0 0
      0 1 0
      0 0 1
    </Array>
  </Matrix>
  <Range inBitDepth="32f" outBitDepth="32f">
    <minInValue>0</minInValue>
    <minOutValue>0</minOutValue>
  </Range>
  <ASC_CDL inBitDepth="32f" outBitDepth="32f" style="Fwd">
    <SOPNode>
      <Slope>1 1 1</Slope>
      <Offset>0 0 0</Offset>
      <Power>1 1 1</Power>
    </SOPNode>
  </ASC_CDL>
  <LUT1D inBitDepth="32f" outBitDepth="32f">
    <Array dim="2 1">0 1</Array>
  </LUT1D>
  <Log inBitDepth="32f" outBitDepth="32f" style="log2"/>
  <Exponent inBitDepth="32f" outBitDepth="32f" style="basicFwd">
    <ExponentParams exponent="2"/>
  </Exponent>
</ProcessList>
"""


@pytest.mark.parametrize(
    ("old", "new", "wrong"),
    [
        ("0 1 0\n", "0 P 0\n", [(6, "bad-number")]),
        ("0 1 0\n", "0 nan 0\n", [(6, "not-finite")]),
        ("0 1 0\n", "0 1e999 0\n", [(6, "too-large")]),
        ("0 1 0\n", "0 1\n", [(4, "missing-values")]),
        ("0 1 0\n", "0 1 0 0\n", [(4, "extra-values")]),
        ('dim="3 3"', 'dim="3 5"', [(4, "dim")]),
        ('dim="2 1"', 'dim="9999999 1"', [(22, "dim")]),
        (' outBitDepth="32f">\n    <Array dim="3', '>\n    <Array dim="3',
         [(3, "attribute-missing")]),
        ('outBitDepth="32f">\n    <Array dim="3', 'outBitDepth="33f">\n    <Array dim="3',
         [(3, "attribute-value")]),
        ('outBitDepth="32f">\n    <Array dim="3', 'outBitDepth="16f">\n    <Array dim="3',
         [(10, "depth-mismatch")]),
        ("    <minOutValue>0</minOutValue>\n", "", [(10, "element-missing")]),
        ("<minInValue>0</minInValue>", "<minInValue>zero</minInValue>",
         [(11, "bad-number"), (10, "element-missing")]),
        ("1 1 1</Slope>", "1 1</Slope>", [(16, "row-length")]),
        ("1 1 1</Slope>", "1 1 -1</Slope>", [(16, "out-of-range")]),
        ("1 1 1</Power>", "1 1 0</Power>", [(18, "out-of-range")]),
        ("      <Offset>0 0 0</Offset>\n", "", [(15, "element-missing")]),
        ('style="Fwd"', 'style="fwd"', [(14, "attribute-value")]),
        ('style="log2"', 'style="log3"', [(24, "attribute-value")]),
        (' style="log2"', "", [(24, "attribute-missing")]),
        ('exponent="2"', 'exponent="two"', [(26, "bad-number")]),
        ('exponent="2"', 'exponent="2" gamma="1"', [(26, "unknown-attribute")]),
        ('    <ExponentParams exponent="2"/>\n', "", [(25, "element-missing")]),
        (' compCLFversion="3.0"', "", [(2, "attribute-missing")]),
        ("</Matrix>", "</Matrix><Blur/>", [(9, "unknown-element")]),
        ("</Matrix>", "", [(28, "not-xml")]),
        ("<ProcessList", "<Process", [(28, "not-xml")]),
        ("</ProcessList>\n", "", [(28, "not-xml")]),
    ],
)  # fmt: skip
def test_each_fault_of_a_clf_is_found_on_its_line(old, new, wrong, tmp_path):
    assert faults_in(tmp_path, "good.clf", CLF) == []
    assert old in CLF
    assert sorted(faults_in(tmp_path, "a.clf", CLF.replace(old, new, 1))) == sorted(wrong)


def test_published_clf_files_are_sound(shared_data):
    # Test files of OpenColorIO, the standard's own implementation.
    names = sorted((shared_data / "lut").glob("*.clf"))
    legal = [path for path in names if not path.name.startswith("illegal")]
    assert len(legal) >= 9
    for path in legal:
        assert not scan_lut(path).faults, path.name


@pytest.mark.parametrize(
    ("name", "line", "code"),
    [
        ("illegal_array_bad_value.clf", 7, "bad-number"),
        ("illegal_cdl_bad_slope.clf", 6, "row-length"),
        ("illegal_lut3d_unequal_size.clf", 5, "dim"),
        ("illegal_transform_bitdepth_mismatch.clf", 10, "depth-mismatch"),
        ("illegal_unknown_elements.clf", 34, "unknown-element"),
    ],
)
def test_published_illegal_clf_files_are_found_out(name, line, code, shared_data):
    # Test files of OpenColorIO; their own descriptions say what is wrong.
    read = scan_lut(shared_data / "lut" / name)
    assert [(fault.line, fault.code) for fault in read.faults] == [(line, code)]
    assert bool(read.errors) == (code != "unknown-element")


ENTITIES = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10 if n else "ha"}">' for n in range(12))


@pytest.mark.parametrize("ending", [".clf", ".ctf", ".cdl", ".ccc", ".cc"])
@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        (f"<!DOCTYPE a [{ENTITIES}]>\n<ProcessList>&e11;</ProcessList>", (1, "doctype")),
        ('<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]>\n<a>&x;</a>', (1, "doctype")),
        ("<a>" * 100_000, (1, "too-deep")),
        ("<a>\n" + "<b/>\n" * 30_000 + "</a>", (20_001, "too-long")),
        ("\n\n<a", (3, "not-xml")),
        ("", (0, "empty")),
        (b"\x00" * 1000, (1, "not-xml")),
        ('<?xml version="1.0" encoding="nonsense"?>\n<a/>', (1, "not-xml")),
    ],
)
def test_hostile_xml_is_refused_by_line(ending, text, wrong, tmp_path):
    path = tmp_path / f"a{ending}"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    read = scan_lut(path)
    assert [(fault.line, fault.code) for fault in read.errors] == [wrong]


def test_clf_in_utf_16_is_xml_and_fine(tmp_path):
    text = CLF.replace("UTF-8", "UTF-16")
    assert faults_in(tmp_path, "a.clf", text.encode("utf-16")) == []


def test_an_unknown_ending_names_the_nearest(tmp_path):
    (tmp_path / "a.spi1").write_text("x")
    with pytest.raises(InputError, match=r"did you mean '\.spi1d'"):
        scan_lut(tmp_path / "a.spi1")


def test_a_strict_reading_raises_every_fault(tmp_path):
    (tmp_path / "a.spi1d").write_text(SPI1D.replace("0\n1\n", "x\ny\n"))
    with pytest.raises(LutFileError) as caught:
        read_lut(tmp_path / "a.spi1d")
    assert [problem.line for problem in caught.value.problems] == [6, 7]


# Found by fuzzing: OpenColorIO takes 8 bits up to 511, 10 up to 2047, 12 up to 8191, then 16.
@pytest.mark.parametrize("largest", [300, 1500, 5000, 12000])
def test_a_3dl_whose_depth_readers_disagree_about_is_told(tmp_path, largest):
    codes = np.linspace(0, largest, 3 * 27).round().astype(int).reshape(3, 3, 3, 3)
    found = faults_in(tmp_path, "x.3dl", threedl(codes, "0 512 1023 ").replace(" \n", "\n"))
    assert (0, "depth-unclear") in found
    plain = codes * 1023 // largest
    assert (0, "depth-unclear") not in faults_in(tmp_path, "x.3dl", threedl(plain, "0 512 1023"))


def test_a_csp_curve_far_beyond_any_picture_is_told(tmp_path):
    text = csp("1D", STRAIGHT.replace("0 1\n2", f"{'9' * 30} 1\n2", 1), "2\n0 0 0\n1 1 1\n")
    assert any(code == "far-beyond" for _, code in faults_in(tmp_path, "x.csp", text))
