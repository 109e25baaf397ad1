"""TOML text to tables; where it is no TOML, what to write instead."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from typing import Any, Final

from lookkit.errors import Problem, RecipeError

_DEEPEST: Final = 32
"""Tables inside tables; a recipe needs six."""
_QUOTES: Final = "\u201c\u201d\u201e\u201f\u2018\u2019\u00ab\u00bb"
_HEADER: Final = re.compile(r"\s*\[\[?(?P<name>[^\]]*)\]")
_KEY: Final = re.compile(
    r"""\s*(?P<name>(?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"))*)\s*="""
)
_SPELT: Final = {
    "ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "ø": "oe", "å": "aa", "æ": "ae",
    "Ä": "Ae", "Ö": "Oe", "Ü": "Ue",
}  # fmt: skip
"""How letters are written where there are only a to z (common practice, no source)."""
_WORDS: Final = r"[A-Za-z_][\w ./-]*?"
_OTHERS: Final = [
    (re.compile(rf"^(\s*{_WORDS})\s*:\s*"), "a colon", r"\1 = "),
    (re.compile(r"=\s*(-?\d+),(\d+)\s*(#.*)?$"), "a comma in a number", r"= \1.\2"),
    (re.compile(r"=\s*(-?[\d.]+)\s*(?:%|°|[A-Za-z]+)\s*(#.*)?$"), "a unit", r"= \1"),
    (re.compile(r";\s*(#.*)?$"), "a semicolon", ""),
    (re.compile(r"=\s*(True|TRUE|yes|Yes|on)\s*(#.*)?$"), "no TOML word", "= true"),
    (re.compile(r"=\s*(False|FALSE|no|No|off)\s*(#.*)?$"), "no TOML word", "= false"),
    (re.compile(rf"=\s*({_WORDS})\s*(#.*)?$"), "text without quotes", r'= "\1"'),
    (re.compile(rf"^\s*-\s+({_WORDS})\s*[:=]\s*"), "a dash and a colon", r"\1 = "),
    (
        re.compile(r"^\s*(?://+|/\*+|--+|;+)\s*(.*?)\s*(?:\*/)?$"),
        "a comment of another kind",
        r"# \1",
    ),
    (
        re.compile(r"([=,\[]\s*)([-+]?)(\.\d+)"),
        "a number that begins with its dot",
        r"\g<1>\g<2>0\3",
    ),
    (re.compile(r"(\d)\.(?=\s*(?:,|\]|#|$))"), "a number that ends with its dot", r"\1.0"),
    (re.compile(r"=\s*\(([^()]*)\)"), "round brackets", r"= [\1]"),
    (re.compile(r"^(\s*\[\[?[\w.\"-]+)\s*(#.*)?$"), "a bracket that does not close", r"\1]"),
    (re.compile(r"=\s*\"([^\"]*)$"), "text without its closing quote", r'= "\1"'),
    (re.compile(r"=\s*'([^']*)$"), "text without its closing quote", r'= "\1"'),
    (
        re.compile(r"^(\s*)\[([^\]\"']*?)\s*([\w-]+(?: +[\w-]+)+)\s*\]"),
        "a name with a blank",
        r'\1[\2"\3"]',
    ),
]
"""What other formats write, each with what it is called and what TOML has instead of it."""
_DIGITS: Final = re.compile(r"0[xob][0-9A-Fa-f_]+|[0-9][0-9_]*")
_LARGEST: Final = 2**63
"""TOML 1.0: whole numbers of 64 bits."""


def parse_toml(
    text: str, file: str, leads: str = "", wanted: str = "a recipe in TOML"
) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Parameters
    ----------
    leads, wanted
        Who extends the file, and what it should be; for messages.

    Raises
    ------
    RecipeError
        If it is not TOML, with the line, what is wrong there and what to write.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what = str(error)
        place = re.search(r"at line (\d+)", what)
        line = int(place[1]) if place else text.count("\n") + 1
        what = re.sub(r" \(at .*\)$", "", what)
        found, expected = _explained(text, line, f"not valid TOML ({what})", wanted)
        raise RecipeError([Problem(file, line, "", found + leads, expected)]) from error
    except ValueError as error:
        raise _too_long(text, file, leads) from error
    except RecursionError as error:
        raise _too_deep(text, file, leads) from error
    depth, largest = _measured(tables)
    if depth > _DEEPEST:
        raise _too_deep(text, file, leads)
    if largest > _LARGEST:
        raise _too_long(text, file, leads)
    return tables


def plain_letters(name: str) -> str:
    """Return a name in the letters a to z: Toepferei for Töpferei."""
    for letter, instead in _SPELT.items():
        name = name.replace(letter, instead)
    spread = unicodedata.normalize("NFKD", name)
    return re.sub(r"[^A-Za-z0-9 ._-]", "", spread).strip() or "A"


def _too_deep(text: str, file: str, leads: str) -> RecipeError:
    opened = [len(re.findall(r"[.\[{]", line)) for line in text.splitlines()]
    line = opened.index(max(opened)) + 1
    return RecipeError(
        [Problem(file, line, "", f"nested too deeply{leads}", "tables in a few tables")]
    )


def _too_long(text: str, file: str, leads: str) -> RecipeError:
    long = max(_DIGITS.finditer(text), key=lambda found: len(found[0]), default=None)
    line = text.count("\n", 0, long.start()) + 1 if long else 0
    found = f"a number of {len(long[0])} digits" if long else "a number without end"
    return RecipeError([Problem(file, line, "", found + leads, "a number that is meant")])


def _measured(tables: Any) -> tuple[int, int]:
    """Return how many tables and lists lie in each other, and the largest whole number."""
    depth, largest, level = 0, 0, [tables]
    while level and depth <= _DEEPEST:
        depth += 1
        inner = [one.values() if isinstance(one, dict) else one for one in level]
        flat = [one for values in inner for one in values]
        largest = max([largest, *(abs(one) for one in flat if type(one) is int)])
        level = [one for one in flat if isinstance(one, dict | list)]
    return depth, largest


def _explained(text: str, line: int, found: str, wanted: str) -> tuple[str, str]:
    """Return what is wrong at a line in better words, where the reason is a usual one."""
    lines = text.splitlines()
    here = lines[line - 1] if 0 < line <= len(lines) else ""
    if text.lstrip().startswith(("{", "[{")):
        return (
            "this is JSON",
            f'{wanted}: name = "Plain" and [cameras.A], without braces around all',
        )
    if any(quote in here for quote in _QUOTES):
        straight = re.sub(f"[{_QUOTES}]", '"', here).strip()
        return "typographic quotes", f"straight ones: {straight[:80]}"
    if re.match(r"(<{7}|={7}|>{7})( |$)", here):
        return "a mark of a merge that two versions did not fit", "one of the two, without marks"
    if re.search(r"=\s*-?[\d.]+\s*[-+*/]\s*[\d.]", here):
        return "a sum", "its result as one number, such as 0.333"
    for pattern, what, instead in _OTHERS:
        if pattern.search(here):
            return what, pattern.sub(instead, here, count=1).strip()[:80]
    if "Unclosed" in found:
        begun = _unclosed(lines)
        return f"a list or table begun in line {begun} does not close", "its ] or } at the end"
    if len(re.findall(r"[\w\"\]]\s+[\w-]+\s*=", here)) > 0:
        return "two keys in one line", "a line of its own for each"
    header = _HEADER.match(here)
    if header and not header["name"].isascii():
        *before, last = header["name"].split(".")
        named = ".".join([*before, plain_letters(last.strip(' "'))])
        return f"the name {last.strip()!r} has other letters than a to z", f"[{named}]"
    key = _KEY.match(here)
    if "overwrite" in found or "twice" in found or "Cannot declare" in found:
        name = key["name"] if key else header["name"] if header else ""
        first = _first(lines[: line - 1], name, header is not None)
        if here.lstrip().startswith("[[") and not first:
            return f"double brackets around {name!r}", f"a name of its own for each: [{name}.NAME]"
        if name and first:
            return f"{name} is given again, first in line {first}", "it once"
    return found, wanted


def _unclosed(lines: list[str]) -> int:
    """Return the line of the last key whose value opens more brackets than it closes there."""
    opened = [
        number for number, line in enumerate(lines, start=1)
        if _KEY.match(line) and sum(map(line.count, "[{")) > sum(map(line.count, "]}"))
    ]  # fmt: skip
    return opened[-1] if opened else len(lines)


def _first(lines: list[str], name: str, is_header: bool) -> int:
    """Return the last line before that gives a key or a table of this name; 0 if none does."""
    for number in range(len(lines), 0, -1):
        found = (_HEADER if is_header else _KEY).match(lines[number - 1])
        if found and found["name"].strip() == name.strip():
            return number
    return 0
