"""A corpus of bad .cube files: each with what is wrong with it and on which line.

`BAD_CUBES` is the corpus; nothing of it is stored. To write it out for a reader of your own:

    python -m tests.lutfile.bad_cubes FOLDER

writes every file and `index.json`, which says of each what is wrong where.

Unless the fault is elsewhere, a file holds a lattice of three points an edge whose channels
differ, so that a misread axis, domain or number shows in the pixels.
"""

import json
import sys
from dataclasses import dataclass
from pathlib import Path

SIZE = 3
HEAD = f"LUT_3D_SIZE {SIZE}\n"


def row(r: int, g: int, b: int) -> str:
    """One row of the lattice: all different, none a round share of 255 or 1023."""
    return f"{0.05 + 0.4 * r:.4f} {0.02 + 0.35 * g + 0.05 * r:.4f} {0.1 + 0.3 * b + 0.02 * g:.4f}\n"


ROWS = tuple(row(r, g, b) for b in range(SIZE) for g in range(SIZE) for r in range(SIZE))
BODY = "".join(ROWS)
GOOD = HEAD + BODY


@dataclass(frozen=True)
class BadCube:
    """One bad file.

    Attributes
    ----------
    wrong
        (line, code) of every fault that a strict reader must find; line 0 is the whole file.
    about
        What is wrong, for people.
    """

    name: str
    data: bytes
    wrong: tuple[tuple[int, str], ...]
    about: str


def swapped(number: int, new: str) -> str:
    """The good file with row `number` (from 0) replaced; it stands on line number + 2."""
    return HEAD + "".join((*ROWS[:number], new, *ROWS[number + 1 :]))


def one(
    name: str, text: str | bytes, about: str, *wrong: tuple[int, str], encoding: str = "utf-8"
) -> BadCube:
    data = text if isinstance(text, bytes) else text.encode(encoding)
    return BadCube(name, data, wrong, about)


FIRST, LAST = 2, 1 + len(ROWS)
"""Lines of the first and the last row of the good file."""
EVERY = tuple(range(FIRST, LAST + 1))


def on_every_row(code: str) -> tuple[tuple[int, str], ...]:
    return tuple((line, code) for line in EVERY)


def numbers() -> list[BadCube]:
    nan_all = HEAD + "nan nan nan\n" * 27
    return [
        one("decimal-commas", HEAD + BODY.replace(".", ","),
            "every number with a decimal comma", *on_every_row("comma-decimal")),
        one("decimal-comma-once", swapped(5, "0,85 0.47 0.12\n"),
            "one number with a decimal comma", (7, "comma-decimal")),
        one("commas-between", HEAD + BODY.replace(" ", ", "),
            "values separated by commas", *on_every_row("comma-separated")),
        one("commas-without-blanks", HEAD + BODY.replace(" ", ","),
            "values separated by commas alone", *on_every_row("comma-separated")),
        one("semicolons", HEAD + BODY.replace(" ", ";"),
            "values separated by semicolons", *on_every_row("row-length"),
            *on_every_row("bad-number")),
        one("nan", swapped(3, "nan 0.1 0.2\n"), "a value that is no number", (5, "not-finite")),
        one("nan-everywhere", nan_all, "no value is a number", *on_every_row("not-finite")),
        one("nan-minus", swapped(3, "0.1 -NaN 0.2\n"), "a negative NaN", (5, "not-finite")),
        one("nan-as-windows-prints-it", swapped(3, "0.1 0.2 -1.#IND\n"),
            "a NaN as an old C library prints it", (5, "not-finite")),
        one("infinity", swapped(26, "inf 1 1\n"), "an infinite value", (28, "not-finite")),
        one("infinity-minus", swapped(0, "0 0 -Infinity\n"), "minus infinity", (2, "not-finite")),
        one("infinity-as-windows-prints-it", swapped(8, "1.#INF 0.2 0.2\n"),
            "an infinity as an old C library prints it", (10, "not-finite")),
        one("too-large-for-32-bits", swapped(26, "1e39 1 1\n"),
            "a number that overflows a 32-bit float", (28, "too-large")),
        one("too-large-for-64-bits", swapped(26, "1 1 1e400\n"),
            "a number that overflows a 64-bit float", (28, "too-large")),
        one("exponent-with-d", swapped(9, "5d-1 0.1 0.1\n"),
            "an exponent as Fortran writes it", (11, "bad-number")),
        one("hexadecimal", swapped(9, "0x1p-1 0.1 0.1\n"), "a hexadecimal float",
            (11, "bad-number")),
        one("underscore", swapped(9, "0.1 0.1_5 0.1\n"), "a digit separator", (11, "bad-number")),
        one("two-points", swapped(9, "0.1 0.1.5 0.1\n"), "two decimal points",
            (11, "bad-number")),
        one("letter-o", swapped(9, "0.1 O.15 0.1\n"), "a letter O for a zero",
            (11, "bad-number")),
        one("percent", swapped(9, "10% 15% 10%\n"), "percentages", (11, "bad-number")),
        one("minus-alone", swapped(9, "0.1 - 0.1\n"), "a sign without its number",
            (11, "bad-number")),
        one("unicode-minus", swapped(9, "0.1 \u22120.02 0.1\n"), "a typographic minus sign",
            (11, "bad-number"), (11, "not-ascii")),
        one("broken-exponent", swapped(9, "0.1 1e 0.1\n"), "an exponent without digits",
            (11, "bad-number")),
    ]  # fmt: skip


def rows() -> list[BadCube]:
    return [
        one("row-of-two", swapped(4, "0.1 0.2\n"), "a row of two values", (6, "row-length")),
        one("row-of-four", swapped(4, "0.1 0.2 0.3 1\n"), "a row of four values",
            (6, "row-length")),
        one("alpha-everywhere", HEAD + BODY.replace("\n", " 1.0\n"),
            "four values in every row", *on_every_row("row-length")),
        one("one-value-a-line", HEAD + BODY.replace(" ", "\n"), "one value a line",
            *((line, "row-length") for line in range(2, 52)), (29, "extra-rows")),
        one("all-on-one-line", HEAD + BODY.replace("\n", " ") + "\n", "all values on one line",
            (2, "row-length"), (2, "missing-rows"), (2, "line-too-long")),
        one("last-row-missing", HEAD + "".join(ROWS[:-1]), "one row too few",
            (27, "missing-rows")),
        one("cut-in-a-row", GOOD[:-9], "cut off within the last row",
            (28, "row-length"), (28, "no-final-newline")),
        one("cut-in-half", HEAD + "".join(ROWS[:13]), "cut off in the middle",
            (14, "missing-rows")),
        one("no-rows", HEAD, "a size and nothing else", (1, "missing-rows")),
        one("rows-of-a-smaller-lattice", HEAD + "0 0 0\n" * 8, "the rows of two points an edge",
            (9, "missing-rows")),
        one("one-row-too-many", GOOD + ROWS[-1], "one row too many", (29, "extra-rows")),
        one("twice", GOOD + BODY, "all rows twice", (29, "extra-rows")),
        one("two-files-in-one", GOOD + GOOD, "one file appended to itself",
            (29, "keyword-after-data"), (29, "duplicate-keyword"), (30, "extra-rows")),
        one("size-one-too-small", "LUT_3D_SIZE 2\n" + BODY, "more rows than the size says",
            (10, "extra-rows")),
        one("size-one-too-large", "LUT_3D_SIZE 4\n" + BODY, "fewer rows than the size says",
            (28, "missing-rows")),
    ]  # fmt: skip


def sizes() -> list[BadCube]:
    def with_size(line: str) -> str:
        return line + BODY

    return [
        one("no-size", BODY, "no size", (0, "size-missing")),
        one("size-zero", with_size("LUT_3D_SIZE 0\n"), "a size of 0", (1, "size-range")),
        one("size-one", "LUT_3D_SIZE 1\n0 0 0\n", "a size of 1", (1, "size-range")),
        one("size-negative", with_size("LUT_3D_SIZE -3\n"), "a negative size",
            (1, "size-range")),
        one("size-gigantic", with_size("LUT_3D_SIZE 100000\n"), "a size of 100000",
            (1, "size-range")),
        one("size-beyond-64-bits", with_size("LUT_3D_SIZE 99999999999999999999\n"),
            "a size that fits no integer", (1, "size-range")),
        one("size-1d-gigantic", with_size("LUT_1D_SIZE 2000000000\n"),
            "a curve of two thousand million rows", (1, "size-range")),
        one("size-with-a-point", with_size("LUT_3D_SIZE 3.0\n"), "a size written as a float",
            (1, "size-number")),
        one("size-in-words", with_size("LUT_3D_SIZE three\n"), "a size in words",
            (1, "size-number")),
        one("size-missing-its-number", with_size("LUT_3D_SIZE\n"), "a size without a number",
            (1, "size-number")),
        one("size-three-times", with_size("LUT_3D_SIZE 3 3 3\n"), "a size for each axis",
            (1, "size-number")),
        one("size-with-equals", with_size("LUT_3D_SIZE=3\n"), "an equals sign",
            (1, "size-number")),
        one("size-glued", with_size("LUT_3D_SIZE3\n"), "no blank before the size",
            (1, "misspelt-keyword"), (0, "size-missing")),
        one("size-with-comment", with_size("LUT_3D_SIZE 3 # points\n"),
            "a comment behind the size", (1, "inline-comment")),
        one("size-twice", HEAD + GOOD, "the size twice, the same", (2, "duplicate-keyword")),
        one("size-twice-otherwise", "LUT_3D_SIZE 2\n" + GOOD, "two different sizes",
            (2, "conflicting-keyword"), (11, "extra-rows")),
        one("size-after-data", BODY + HEAD, "the size after the rows",
            (28, "keyword-after-data")),
        one("size-within-data", "".join(ROWS[:9]) + HEAD + "".join(ROWS[9:]),
            "the size among the rows", (10, "keyword-after-data")),
        one("curve-and-lattice", "LUT_1D_SIZE 2\nLUT_3D_SIZE 3\n0 0 0\n0.8 0.9 1\n" + BODY,
            "a 1D and a 3D LUT in one file", (2, "two-luts")),
        one("curve-and-lattice-titled",
            'TITLE "both"\nLUT_1D_SIZE 2\nLUT_3D_SIZE 3\n0 0 0\n0.8 0.9 1\n' + BODY,
            "a 1D and a 3D LUT in one file, with a title", (3, "two-luts")),
        one("curve-and-lattice-without-curve", "LUT_1D_SIZE 2\nLUT_3D_SIZE 3\n" + BODY,
            "two sizes, the rows of one", (2, "two-luts"), (29, "missing-rows")),
    ]  # fmt: skip


def domains() -> list[BadCube]:
    return [
        one("domain-reversed", "DOMAIN_MIN 1 1 1\nDOMAIN_MAX 0 0 0\n" + GOOD,
            "the highest input below the lowest", (2, "domain-order")),
        one("domain-reversed-in-blue", "DOMAIN_MIN 0 0 1\nDOMAIN_MAX 1 1 0\n" + GOOD,
            "reversed in one channel", (2, "domain-order")),
        one("domain-empty", "DOMAIN_MIN 0 0 0\nDOMAIN_MAX 0 0 0\n" + GOOD,
            "no room between lowest and highest", (2, "domain-order")),
        one("domain-max-below-default-min", HEAD + "DOMAIN_MAX -1 -1 -1\n" + BODY,
            "a highest input below the lowest of the default", (2, "domain-order")),
        one("domain-nan", HEAD + "DOMAIN_MAX nan 1 1\n" + BODY, "a domain that is no number",
            (2, "domain-number")),
        one("domain-infinite", HEAD + "DOMAIN_MAX inf inf inf\n" + BODY, "an endless domain",
            (2, "domain-number")),
        one("domain-of-one-number", HEAD + "DOMAIN_MIN 0\nDOMAIN_MAX 1\n" + BODY,
            "one number where three belong", (2, "domain-number"), (3, "domain-number")),
        one("domain-with-commas", HEAD + "DOMAIN_MAX 1,0 1,0 1,0\n" + BODY,
            "decimal commas in the domain", (2, "domain-number")),
        one("domain-after-data", GOOD + "DOMAIN_MAX 2 2 2\n", "the domain after the rows",
            (29, "keyword-after-data")),
        one("domain-twice", HEAD + "DOMAIN_MAX 1 1 1\nDOMAIN_MAX 2 2 2\n" + BODY,
            "two different domains", (3, "conflicting-keyword")),
        one("domain-misspelt", HEAD + "DOMAIN_MX 2 2 2\n" + BODY, "a misspelt domain",
            (2, "misspelt-keyword")),
        one("range-and-domain", HEAD + "DOMAIN_MAX 2 2 2\nLUT_3D_INPUT_RANGE 0 1\n" + BODY,
            "domain and range that contradict each other", (3, "domain-twice"),
            (3, "range-keyword")),
        one("range-of-the-other-lut", HEAD + "LUT_1D_INPUT_RANGE 0 2\n" + BODY,
            "the range of a LUT that is not there", (2, "range-without-lut"),
            (2, "range-keyword")),
        one("range-reversed", HEAD + "LUT_3D_INPUT_RANGE 1 0\n" + BODY, "a reversed range",
            (2, "domain-order"), (2, "range-keyword")),
        one("range-of-three-numbers", HEAD + "LUT_3D_INPUT_RANGE 0 1 1\n" + BODY,
            "three numbers where two belong", (2, "domain-number")),
        one("range-of-a-dialect", HEAD + "LUT_3D_INPUT_RANGE 0 2\n" + BODY,
            "a range keyword that is not of .cube 1.0", (2, "range-keyword")),
    ]  # fmt: skip


def keywords() -> list[BadCube]:
    return [
        one("keyword-small-letters", "lut_3d_size 3\n" + BODY, "a keyword in small letters",
            (1, "keyword-case")),
        one("keyword-misspelt", "LUT_3D_SIZ 3\n" + BODY, "a misspelt size",
            (1, "misspelt-keyword"), (0, "size-missing")),
        one("keyword-unknown", "GAMMA 2.4\n" + GOOD, "an unknown keyword",
            (1, "unknown-keyword")),
        one("keyword-unknown-among-rows", HEAD + ROWS[0] + "END\n" + "".join(ROWS[1:]),
            "an unknown word among the rows", (3, "unknown-keyword")),
        one("keyword-indented", "   " + GOOD, "blanks before a keyword",
            (1, "indented-keyword")),
        one("title-without-quotes", "TITLE My look\n" + GOOD, "a title without quotes",
            (1, "title-quotes")),
        one("title-open", 'TITLE "My look\n' + GOOD, "a title whose quote is not closed",
            (1, "title-quotes")),
        one("title-quotes-inside", 'TITLE "My "warm" look"\n' + GOOD, "quotes inside a title",
            (1, "title-quotes")),
        one("title-empty", "TITLE\n" + GOOD, "a title without words", (1, "title-quotes")),
        one("title-twice", 'TITLE "a"\nTITLE "b"\n' + GOOD, "two titles",
            (2, "conflicting-keyword")),
        one("title-not-ascii", 'TITLE "T\u00f6pferei"\n' + GOOD, "a title beyond ASCII",
            (1, "not-ascii")),
        one("title-after-data", GOOD + 'TITLE "late"\n', "a title after the rows",
            (29, "keyword-after-data")),
        one("title-endless", 'TITLE "' + "x" * 5000 + '"\n' + GOOD, "a title of 5000 letters",
            (1, "line-too-long")),
        one("comment-behind-a-row", swapped(2, ROWS[2].strip() + " # white\n"),
            "a comment behind a row", (4, "inline-comment")),
        one("comment-slashes", "// made by hand\n" + GOOD, "a comment with slashes",
            (1, "stray-text")),
        one("comment-semicolon", "; made by hand\n" + GOOD, "a comment with a semicolon",
            (1, "stray-text")),
        one("comment-latin-1", "# T\u00f6pferei\n" + GOOD, "a comment in Latin-1",
            (1, "not-ascii"), encoding="latin-1"),
        one("comment-long", "# " + "x" * 300 + "\n" + GOOD, "a comment of over 250 bytes",
            (1, "line-too-long")),
        one("markup", "<html><body>Not found</body></html>\n", "an error page saved as .cube",
            (1, "stray-text"), (0, "size-missing")),
    ]  # fmt: skip


def text() -> list[BadCube]:
    crlf = GOOD.replace("\n", "\r\n")
    return [
        one("empty", b"", "an empty file", (0, "empty")),
        one("blank", b"\n\n  \n", "blank lines alone", (0, "empty")),
        one("bom", b"\xef\xbb\xbf" + GOOD.encode(), "a UTF-8 byte order mark", (1, "bom")),
        one("utf-16", GOOD, "UTF-16 with its mark", (1, "utf-16"), encoding="utf-16"),
        one("utf-16-without-mark", GOOD, "UTF-16 without its mark", (1, "utf-16"),
            encoding="utf-16-le"),
        one("utf-16-big-endian", GOOD, "UTF-16, big end first, without its mark",
            (1, "utf-16"), encoding="utf-16-be"),
        one("utf-32", GOOD, "UTF-32 with its mark", (1, "utf-16"), encoding="utf-32"),
        one("carriage-returns", GOOD.replace("\n", "\r"), "lines that end in CR alone",
            (1, "line-ends-cr")),
        one("crlf", crlf, "lines that end in CR LF", (1, "line-ends-crlf")),
        one("mixed-line-ends", GOOD.replace("\n", "\r\n", 4), "two kinds of line ends",
            (5, "line-ends-mixed")),
        one("carriage-return-in-a-row", swapped(5, "0.85 0.47\r0.12\n"),
            "a CR within a row", (7, "line-ends-mixed")),
        one("no-final-newline", GOOD[:-1], "a last line that does not end",
            (28, "no-final-newline")),
        one("end-of-file-mark", GOOD + "\x1a", "a Ctrl-Z at the end",
            (29, "control-character"), (29, "no-final-newline")),
        one("zeros-at-the-end", GOOD.encode() + bytes(64), "zero bytes after the rows",
            (29, "control-character"), (29, "no-final-newline")),
        one("zero-in-a-row", swapped(5, "0.85\x00 0.47 0.12\n"), "a zero byte in a row",
            (7, "control-character")),
        one("binary", bytes(range(256)) * 16, "binary data", (0, "binary")),
        one("picture", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(128, 256)) * 4,
            "a picture named .cube", (0, "binary")),
        one("nothing-but-zeros", bytes(4096), "zero bytes alone", (0, "binary")),
        one("non-breaking-blanks", HEAD + BODY.replace(" ", "\u00a0", 2),
            "non-breaking blanks in a row", (2, "not-ascii"), (2, "row-length"),
            (2, "bad-number")),
        one("digits-of-another-script", swapped(9, "0.1 \u0661 0.1\n"),
            "a digit that is not ASCII", (11, "not-ascii"), (11, "bad-number")),
        one("endless-line", HEAD + "0 " * 50000 + "\n" + BODY, "a line of 100000 bytes",
            (2, "line-too-long")),
    ]  # fmt: skip


BAD_CUBES: tuple[BadCube, ...] = (
    *numbers(),
    *rows(),
    *sizes(),
    *domains(),
    *keywords(),
    *text(),
)


def write(folder: Path) -> list[Path]:
    """Write the corpus and its index into `folder`; return the .cube files in order."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    index = []
    for bad in BAD_CUBES:
        path = folder / f"{bad.name}.cube"
        path.write_bytes(bad.data)
        paths.append(path)
        wrong = [{"line": line, "code": code} for line, code in bad.wrong]
        index.append({"file": path.name, "about": bad.about, "wrong": wrong})
    (folder / "index.json").write_text(json.dumps(index, indent=1) + "\n", encoding="utf-8")
    return paths


if __name__ == "__main__":
    print(f"{len(write(Path(sys.argv[1])))} bad files in {sys.argv[1]}")
