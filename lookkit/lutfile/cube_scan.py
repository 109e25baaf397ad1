"""Reading .cube files strictly: every fault with its line, in bounded time and memory."""

from __future__ import annotations

import difflib
import re
from pathlib import Path
from typing import Final

import numpy as np

from lookkit.errors import expected_one_of
from lookkit.lutfile.faults import Faults, ascii_only, shown
from lookkit.lutfile.model import Curve, Lattice, LutFile, Stage
from lookkit.lutfile.rows import HAS_NUMBER, LONGEST_LINE, ODD_LINES, PLAIN_ROWS, Rows
from lookkit.lutfile.source import as_text, read_source
from lookkit.spaces.working import Array

LINE_BYTES: Final = 250
"""Longest line that the format allows (.cube 1.0; from memory)."""
SIZES: Final = {"LUT_1D_SIZE": (2, 65536), "LUT_3D_SIZE": (2, 256)}
"""Sizes that the format allows (.cube 1.0; from memory)."""
RANGES: Final = ("LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE")
"""Keywords of a dialect that is not .cube 1.0; some readers pass over them."""
DOMAINS: Final = ("DOMAIN_MIN", "DOMAIN_MAX")
KEYWORDS: Final = ("TITLE", *DOMAINS, *SIZES, *RANGES)

_WORD: Final = re.compile(r"(?!(?:nan|inf|infinity)\b)[A-Za-z_]\w*", re.IGNORECASE)
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_LONGEST_KEYWORD: Final = 40
_MOST_ROWS: Final = SIZES["LUT_3D_SIZE"][1] ** 3 + SIZES["LUT_1D_SIZE"][1]


def scan_cube(path: Path) -> LutFile:
    """Return what a .cube file holds and every fault found, without refusing any text.

    Raises
    ------
    InputError
        If the file cannot be read at all.
    """
    return scan_cube_bytes(read_source(path), path)


def scan_cube_bytes(data: bytes, path: Path) -> LutFile:
    """Return what the bytes of a .cube file hold and every fault found."""
    faults = Faults()
    text = as_text(data, faults)
    scan = _Scan(text, faults)
    stages: tuple[Stage, ...] = ()
    if text:
        scan.read()
        stages = scan.stages()
    return LutFile(
        path=path,
        format="cube",
        title=scan.title,
        comments=tuple(scan.comments),
        stages=stages,
        faults=faults.sorted(),
    )


class _Scan:
    def __init__(self, text: bytes, faults: Faults) -> None:
        self.text = text
        self.faults = faults
        self.rows = Rows(text, faults, _MOST_ROWS)
        self.title = ""
        self.comments: list[str] = []
        self.given: dict[str, int] = {}
        """Line of each keyword."""
        self.sizes: dict[str, int] = {}
        self.inputs: dict[str, tuple[float, ...]] = {}
        self.last_line = 0
        self.whole = True
        """Whether every line was looked at."""
        self.doubt = False
        """Whether something that decides what the numbers mean could not be read."""

    def read(self) -> None:
        position, line, odd = 0, 1, 0
        while position < len(self.text):
            found = PLAIN_ROWS.match(self.text, position)
            if found is not None:
                self.rows.add_bulk(position, found.end(), line)
                line += self.text.count(b"\n", position, found.end())
                position = found.end()
                continue
            odd += 1
            if odd > ODD_LINES:
                self.faults.add(
                    line, "too-long", f"more than {ODD_LINES} odd lines", "a LUT; reading ends here"
                )
                self.whole = False
                break
            end = self.text.index(b"\n", position)
            self._line(self.text[position : min(end, position + LONGEST_LINE + 1)], line)
            position, line = end + 1, line + 1
        self.last_line = line - 1

    def _line(self, raw: bytes, line: int) -> None:
        raw = raw.rstrip(b"\r")
        if len(raw) > LINE_BYTES:
            kept = len(raw) <= LONGEST_LINE or raw.lstrip().startswith((b"#", b"TITLE"))
            self.whole &= kept
            over = "over " * (len(raw) > LONGEST_LINE)
            self.faults.add(
                line,
                "line-too-long",
                f"a line of {over}{min(len(raw), LONGEST_LINE)} bytes",
                f"at most {LINE_BYTES}" + ("" if kept else "; the line is passed over"),
                level="warning" if kept else "error",
            )
            if not kept:
                return
            if len(raw) > LONGEST_LINE:
                raw = raw[:LONGEST_LINE]
                if not raw.lstrip().startswith(b"#"):
                    raw = raw.rstrip(b'"') + b'"'
        text = self._ascii(raw, line)
        bare = text.strip()
        if not bare:
            return
        if bare.startswith("#"):
            self.comments.append(bare[1:].strip())
            return
        word = _WORD.match(bare)
        if word is None:
            self._row(bare, line)
            return
        if text[0] in " \t":
            self.faults.add(
                line,
                "indented-keyword",
                f"blanks before {word[0]}",
                "the keyword first",
                key=word[0],
                level="warning",
            )
        self._keyword(word[0], bare[word.end() :], line)

    def _ascii(self, raw: bytes, line: int) -> str:
        text = raw.decode("utf-8", "replace")
        if not raw.isascii():
            title = raw.lstrip().startswith(b"TITLE")
            self.faults.add(
                line,
                "not-ascii",
                shown(text),
                "ASCII letters only",
                level="warning",
                key="TITLE" if title else "",
            )
        if odd := _CONTROL.search(text):
            self.faults.add(
                line, "control-character", f"a control character, {shown(odd[0])}", "plain text"
            )
            text = _CONTROL.sub(" ", text)
        return text

    def _row(self, bare: str, line: int) -> None:
        code, mark, comment = _split_comment(bare)
        code = ascii_only(code)
        if mark:
            self._inline_comment(comment, line)
        if not HAS_NUMBER.search(code):
            if code:
                self.faults.add(line, "stray-text", shown(code), "a row of numbers")
                self.comments.append(code)
            return
        self.rows.add_line(code, line)

    def _inline_comment(self, comment: str, line: int) -> None:
        self.faults.add(
            line,
            "inline-comment",
            f"a comment behind values, {shown(comment)}",
            "comments on lines of their own",
        )
        self.comments.append(comment.strip())

    def _keyword(self, word: str, rest: str, line: int) -> None:
        name = word.upper()
        if name not in KEYWORDS:
            meant = difflib.get_close_matches(name, KEYWORDS, n=1, cutoff=0.8)
            self.faults.add(
                line,
                "misspelt-keyword" if meant else "unknown-keyword",
                shown(word),
                expected_one_of(name, KEYWORDS),
                key=word[:_LONGEST_KEYWORD],
            )
            self.comments.append(f"{word}{rest}")
            self.doubt |= bool(meant)
            return
        if name != word:
            self.faults.add(line, "keyword-case", shown(word), f"{name!r}", key=word)
        if self.rows.count:
            self.faults.add(
                line,
                "keyword-after-data",
                f"{name} after the first row (line {self.rows.line_of(0)})",
                "keywords before rows",
                key=name,
            )
        again = name in self.given
        if name == "TITLE":
            self._title(rest.strip(), line, again)
        else:
            code, mark, comment = _split_comment(rest)
            code = ascii_only(code)
            if mark:
                self._inline_comment(comment, line)
            if name in SIZES:
                self._size(name, code, line, again)
            else:
                self._input(name, code, line, again)
        self.given.setdefault(name, line)

    def _again(self, name: str, line: int, same: bool) -> None:
        self.doubt |= not same and name != "TITLE"
        says = "saying the same" if same else "saying something else"
        self.faults.add(
            line,
            "duplicate-keyword" if same else "conflicting-keyword",
            f"{name} a second time (line {self.given[name]}), {says}",
            "each keyword once",
            key=name,
        )

    def _title(self, rest: str, line: int, again: bool) -> None:
        title = rest.strip('"') if rest.startswith('"') else rest
        if again:
            self._again("TITLE", line, title == self.title)
            return
        self.title = title
        if not re.fullmatch('"[^"]*"', rest):
            self.faults.add(
                line,
                "title-quotes",
                shown(rest) if rest else "nothing",
                'a title in one pair of quotes, TITLE "..."',
                key="TITLE",
                level="warning",
            )

    def _size(self, name: str, rest: str, line: int, again: bool) -> None:
        low, high = SIZES[name]
        if not re.fullmatch(r"\s+[+-]?[0-9]{1,30}\s*", rest):
            self.faults.add(
                line,
                "size-number",
                shown(rest.strip()),
                f"one whole number {low} to {high}",
                key=name,
            )
            size = _forgiven_size(rest)
        else:
            size = int(rest)
        if size is None:
            self.doubt = True
            return
        if again:
            self._again(name, line, size == self.sizes.get(name))
        elif not low <= size <= high:
            self.faults.add(line, "size-range", str(size), f"{low} to {high}", key=name)
        self.sizes.setdefault(name, size)

    def _input(self, name: str, rest: str, line: int, again: bool) -> None:
        wanted = 3 if name in DOMAINS else 2
        values = [_finite(token) for token in rest.split()]
        good = [value for value in values if value is not None]
        if len(values) != wanted or len(good) != wanted:
            self.faults.add(
                line, "domain-number", shown(rest.strip()), f"{wanted} finite numbers", key=name
            )
            self.doubt = True
            return
        if again:
            self._again(name, line, tuple(good) == self.inputs.get(name))
            return
        self.inputs[name] = tuple(good)
        if name in RANGES:
            self.faults.add(
                line,
                "range-keyword",
                name,
                "DOMAIN_MIN and DOMAIN_MAX, which more readers know",
                key=name,
                level="warning",
            )

    def stages(self) -> tuple[Stage, ...]:
        """Check sizes, domain and count of rows together; return what can be made of them."""
        both = [name for name in SIZES if name in self.sizes]
        if not both:
            if not any(name in self.given for name in SIZES):
                self.faults.add(0, "size-missing", "no size", "LUT_1D_SIZE or LUT_3D_SIZE")
            return ()
        if len(both) == 2:
            self.faults.add(
                self.given["LUT_3D_SIZE"],
                "two-luts",
                "a 1D and a 3D LUT in one file",
                "one LUT a file",
                key="LUT_3D_SIZE",
            )
        domains = self._domains(both)
        if any(not SIZES[name][0] <= self.sizes[name] <= SIZES[name][1] for name in both):
            return ()
        if any((low == high).any() for low, high in domains.values()):
            return ()
        counts = {name: self.sizes[name] ** (3 if name == "LUT_3D_SIZE" else 1) for name in both}
        wanted = sum(counts.values())
        if not self.whole or not self._rows_fit(wanted) or self.doubt:
            return ()
        table, made, first = self.rows.table(), [], 0
        for name in both:
            rows = table[first : first + counts[name]]
            first += counts[name]
            made.append(_stage(name, self.sizes[name], rows, *domains[name]))
        return tuple(made)

    def _rows_fit(self, wanted: int) -> bool:
        count = self.rows.count
        if count == wanted:
            return True
        hint = ""
        size = round(count ** (1 / 3))
        if size**3 == count and size > 1:
            hint = f"; {count} rows would make {size} points an edge"
        if count < wanted:
            self.faults.add(
                self.last_line,
                "missing-rows",
                f"the file ends after {count} rows",
                f"{wanted}{hint}",
            )
        else:
            self.faults.add(
                self.rows.line_of(wanted), "extra-rows", f"{count} rows", f"{wanted}{hint}"
            )
        return False

    def _domains(self, both: list[str]) -> dict[str, tuple[Array, Array]]:
        given = {name: (np.zeros(3), np.ones(3)) for name in both}
        first = both[0]
        low, high = given[first]
        if "DOMAIN_MIN" in self.inputs:
            low = np.array(self.inputs["DOMAIN_MIN"])
        if "DOMAIN_MAX" in self.inputs:
            high = np.array(self.inputs["DOMAIN_MAX"])
        given[first] = (low, high)
        stated = [name for name in DOMAINS if name in self.inputs]
        if stated:
            self._check_order(low, high, stated[-1])
        for name in both:
            keyword = name.replace("SIZE", "INPUT_RANGE")
            if keyword in self.inputs:
                low, high = (np.full(3, value) for value in self.inputs[keyword])
                self._check_order(low, high, keyword)
                if name == first and stated and not _same(given[first], (low, high)):
                    self.doubt = True
                    self.faults.add(
                        self.given[keyword],
                        "domain-twice",
                        f"{keyword} unlike {stated[0]}",
                        "one domain",
                        key=keyword,
                    )
                given[name] = (low, high)
        for keyword in RANGES:
            if keyword in self.inputs and keyword.replace("INPUT_RANGE", "SIZE") not in both:
                self.faults.add(
                    self.given[keyword],
                    "range-without-lut",
                    f"{keyword} without its LUT",
                    "a size for it",
                    key=keyword,
                )
        return given

    def _check_order(self, low: Array, high: Array, key: str) -> None:
        if not (low < high).all():
            reverse = "reversed" if (low > high).any() else "empty"
            self.faults.add(
                self.given[key],
                "domain-order",
                f"a domain that is {reverse}, {_numbers(low)} to {_numbers(high)}",
                "a lowest below the highest input",
                key=key,
            )


def _stage(name: str, size: int, rows: Array, low: Array, high: Array) -> Stage:
    if name == "LUT_1D_SIZE":
        return Curve(rows, low, high)
    # In the file red runs fastest: its axes come as [blue, green, red].
    values = rows.reshape(size, size, size, 3).transpose(2, 1, 0, 3)
    return Lattice(np.ascontiguousarray(values), low, high)


def _split_comment(text: str) -> tuple[str, str, str]:
    """Split at `#`, unless it belongs to an infinity or NaN as some libraries print it."""
    found = re.search(r"(?<![0-9]\.)#", text)
    if found is None:
        return text, "", ""
    return text[: found.start()].rstrip(), "#", text[found.end() :]


def _forgiven_size(rest: str) -> int | None:
    """Return the size that was surely meant, or None: `3.0`, `= 3`, `3 3 3`."""
    tokens = rest.replace("=", " ").replace(":", " ").split()
    values = {value for token in tokens if (value := _finite(token)) is not None}
    if len(values) == 1 and len(tokens) in (1, 3):
        value = values.pop()
        if value == int(value) and abs(value) < 1e9:
            return int(value)
    return None


def _finite(token: str) -> float | None:
    try:
        value = float(token)
    except ValueError:
        return None
    return value if np.isfinite(value) and "_" not in token else None


def _same(one: tuple[Array, Array], other: tuple[Array, Array]) -> bool:
    return np.array_equal(one, other)


def _numbers(values: Array) -> str:
    return " ".join(f"{value:g}" for value in values)
