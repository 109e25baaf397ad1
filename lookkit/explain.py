"""What every word of a recipe means, from the one place where it is defined.

    python -m lookkit.explain FOLDER

writes the reference pages anew (the repository keeps them in configs/reference).
"""

from __future__ import annotations

import inspect
import sys
import textwrap
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from lookkit.errors import UnknownNameError
from lookkit.files import made_folder, write_beside
from lookkit.nodes import KINDS, kind_name, only
from lookkit.nodes.base import Node, Step, Table
from lookkit.nodes.only import Only
from lookkit.recipe.model import EXTENDING, Recipe
from lookkit.recipe.texture import SETS, Texture
from lookkit.spaces.encodings import Encoding, encoding, encodings
from lookkit.spaces.outputs import Output, output, outputs

PAGES = ("recipe", "nodes", "encodings", "outputs")
_SHARED = ("id", "input", "enabled", "mix", "only")


def explain(name: str | None = None) -> str:
    """Return what `name` is: a node kind, "only", an encoding, an output, or a whole table.

    Without a name: the list of all that can be explained.

    Raises
    ------
    UnknownNameError
        With the nearest name.
    """
    if name is None:
        return _index()
    if name in PAGES:
        return page(name)
    for kind in KINDS:
        if kind_name(kind) == name:
            return _kind(kind)
    if name == "only":
        return _only()
    if name == "texture":
        return _texture()
    with suppress(UnknownNameError):
        return _encoding(encoding(name))
    with suppress(UnknownNameError):
        return _output(output(name))
    known = [*map(kind_name, KINDS), "only", "texture", *PAGES, *encodings(), *outputs()]
    raise UnknownNameError("word", name, known)


def page(name: str) -> str:
    """Return one of the reference pages, as Markdown."""
    if name == "recipe":
        return _recipe()
    if name == "nodes":
        parts = ["# Node kinds", _shared(), *(_kind(kind) for kind in KINDS), _only(), _texture()]
        return "\n\n".join(parts) + "\n"
    if name == "encodings":
        return _table(
            "# Encodings",
            ("name", "primaries", "adaptation", "range", "bits", "interop id", "source", "seen"),
            [
                (one.name, one.primaries.name, one.adaptation, one.native_range, str(one.bits),
                 one.interop_id or "", one.source, one.evidence)
                for one in encodings().values()
            ],
        )  # fmt: skip
    return _table(
        "# Outputs",
        ("name", "primaries", "limited to", "white, peak cd/m2", "range", "bits", "ACES 2",
         "interop id", "source"),
        [
            (one.name, one.display.name, one.limiting.name,
             f"{one.reference_white:g}, {one.peak:g}", one.range, str(one.bits),
             "yes" if one.aces2_style else "", one.interop_id or "", one.source)
            for one in outputs().values()
        ],
    )  # fmt: skip


def write_pages(folder: Path) -> list[Path]:
    """Write the reference pages into `folder`; return their paths."""
    made_folder(folder)
    written = []
    for name in PAGES:
        path = folder / f"{name}.md"
        with write_beside(path) as beside:
            beside.write_text(page(name), encoding="utf-8")
        written.append(path)
    return written


RECIPE = """\
schema = 1
name = "Warm print"
show = "Pottery"

[cameras.A]
encoding = "LogC4"

[cameras.C]                       # a stills camera's display-ready pictures
encoding = "sRGB"
[[cameras.C.trims]]               # opens their highlights again
kind = "curve"
points = [[-8, -8], [0, 0], [2.4739, 4]]

[[look]]
kind = "exposure"
id = "level"
stops = 0.2

[[look]]
kind = "lift-gamma-gain"
gain = { hue = 40, strength = 0.03 }
only = { stops = { to = 3 } }

[rendering]
kind = "film-print"
id = "print"

[texture]                         # halation, softness and grain, on what `apply` writes
like = "gentle"                   # a ready one, which the keys here change
gate = "super 16 mm"
granularity = [3.0, 2.7, 3.3]

[outputs.monitor]
output = "Rec.709 BT.1886"

[outputs.broadcast]
output = "Rec.709 BT.1886"
range = "legal"                   # the delivery specification decides

[scenes.kiln]
cameras = ["A"]
light = 3000
[[scenes.kiln.trims]]
kind = "white-balance"
kelvin = 2800                     # the light; the camera was set to 3200
camera = 3200
[scenes.kiln.overrides.print]
lights = [25.0, 25.0, 26.0]

[[shots]]                         # which camera and scene a file is of, by its name
match = "kiln/A003*"
camera = "A"
scene = "kiln"
note = "the clouds came"
keys = [                          # `apply` follows them, LUTs hold their middle
    { frame = 0, stops = 0.0 },
    { frame = 96, stops = 0.4, mired = -10.0 },
]
[[shots.trims]]                   # of these files alone, after the trims of the scene
kind = "exposure"
stops = -0.25

[[shots]]
match = "kiln/A*"
camera = "A"
scene = "kiln"

[deliver]
sizes = [33]
scenes = ["kiln"]
"""
"""A recipe that shows every table."""


def _recipe() -> str:
    fields = {**Recipe.model_fields, "extends": None, "overrides": None}
    lines = [
        "# A recipe",
        "",
        "A recipe is a text file in TOML. Its tables and keys:",
        "",
    ]
    for name, field in fields.items():
        if field is None:
            lines.append(f"- `{name}`: {EXTENDING[name]['description']}")
        else:
            lines += _fields({name: field})
    lines += ["", *textwrap.wrap(_joining(), 96), "", "```toml", RECIPE.strip(), "```"]
    return "\n".join(lines) + "\n"


def _joining() -> str:
    """Return what the module that joins recipes says of it."""
    from lookkit.recipe import extend

    return _module_text(extend).partition("\n\n")[2].replace("\n", " ")


def _index() -> str:
    rows = [(kind_name(kind), _first_line(kind)) for kind in KINDS]
    width = max(len(name) for name, _ in rows)
    lines = ["node kinds:", *(f"  {name.ljust(width)}  {text}" for name, text in rows)]
    lines += ["  only".ljust(width + 4) + "where a node acts"]
    lines += ["  texture".ljust(width + 4) + "halation, softness and grain of the negative", ""]
    lines += ["encodings (`explain encodings` for the whole table):"]
    lines += textwrap.wrap(", ".join(encodings()), 96, initial_indent="  ", subsequent_indent="  ")
    lines += ["", "outputs (`explain outputs` for the whole table):"]
    lines += textwrap.wrap(", ".join(outputs()), 96, initial_indent="  ", subsequent_indent="  ")
    lines += ["", "a whole page: " + ", ".join(PAGES)]
    return "\n".join(lines)


def _first_line(thing: Any) -> str:
    return (inspect.getdoc(thing) or "").partition("\n")[0]


def _module_text(thing: Any) -> str:
    module = thing if inspect.ismodule(thing) else inspect.getmodule(thing)
    return (inspect.getdoc(module) or "").strip()


def _kind(kind: type[Step]) -> str:
    example = textwrap.dedent(kind.example).strip()
    own = {
        name: field
        for name, field in kind.model_fields.items()
        if name != "kind" and not (issubclass(kind, Node) and name in _SHARED)
    }
    lines = [f"## {kind_name(kind)}", "", f"{_first_line(kind)} Takes {kind.takes} light, gives "
             f"{kind.gives} light.", "", _module_text(kind), "", *_fields(own), ""]  # fmt: skip
    return "\n".join([*lines, "```toml", example, "```"])


def _shared() -> str:
    fields = {name: Node.model_fields[name] for name in _SHARED}
    return "\n".join(["Every node of a look may also have:", "", *_fields(fields)])


def _only() -> str:
    lines = ["## only", "", _module_text(only), "", *_fields(Only.model_fields)]
    return "\n".join(lines)


def _texture() -> str:
    """Return what texture is, step by step, and the ready ones."""
    from lookkit.texture import engine, filters, grain, granularity, halation, odd

    lines = ["## texture", "", _module_text(engine), ""]
    for one in (halation, filters, grain, granularity, odd):
        lines += [_module_text(one), ""]
    lines += _fields(Texture.model_fields)
    for name, ready in SETS.items():
        lines += ["", f"`{name}` is:", ""]
        lines += [f"- `{key}`: {_shown(value)}" for key, value in ready._asdict().items()]
    return "\n".join(lines)


def _fields(fields: dict[str, FieldInfo], indent: str = "") -> list[str]:
    lines = []
    for name, field in fields.items():
        lines.append(f"{indent}- `{field.alias or name}`: {_words(field)}")
        for table in _tables(field.annotation):
            if issubclass(table, Step):
                continue
            lines += _fields(table.model_fields, indent + "  ")
    return lines


def _words(field: FieldInfo) -> str:
    text = field.description or ""
    extra = field.json_schema_extra
    facts = [str(extra["unit"])] if isinstance(extra, dict) and "unit" in extra else []
    bounds = {"ge": "at least", "gt": "more than", "le": "at most", "lt": "less than"}
    for limit in field.metadata:
        facts += [
            f"{words} {getattr(limit, key):g}"
            for key, words in bounds.items()
            if isinstance(getattr(limit, key, None), int | float)
        ]
    if get_origin(field.annotation) is Literal:
        facts.append("one of " + ", ".join(map(str, get_args(field.annotation))))
    if field.is_required():
        facts.append("required")
    elif field.default not in (None, "") and not isinstance(field.default, Table):
        facts.append(f"default {_shown(field.default)}")
    return f"{text} ({'; '.join(facts)})" if facts else text


def _shown(value: Any) -> str:
    if isinstance(value, tuple):
        return "[" + ", ".join(_shown(one) for one in value) + "]"
    return str(value).lower() if isinstance(value, bool) else f"{value}"


def _tables(annotation: Any) -> Iterator[type[Table]]:
    """Yield the tables that a field may hold, each once."""
    seen: list[type[Table]] = []
    waiting = [annotation]
    while waiting:
        one = waiting.pop()
        if get_origin(one) in (Union, UnionType, tuple, list, dict, Annotated):
            waiting += get_args(one)
        elif isinstance(one, type) and issubclass(one, Table) and one not in seen:
            seen.append(one)
            yield one


def _encoding(one: Encoding) -> str:
    p = one.primaries
    lines = [
        f"## {one.name}",
        "",
        f"- also called: {', '.join(one.aliases) or 'nothing else'}",
        f"- curve: {one.curve!r}",
        f"- primaries: {p.name}: R {p.red}, G {p.green}, B {p.blue}, white {p.white}",
        f"- adaptation to the working white: {one.adaptation}",
        f"- files: {one.native_range} range, {one.bits} bits unless the recipe says otherwise",
        f"- movies: {_movies(one)}",
        f"- interop id: {one.interop_id or 'none published'}",
        f"- source: {one.source} ({one.evidence})",
    ]
    return "\n".join([*lines, f"- {one.note}"] if one.note else lines)


def _movies(one: Encoding) -> str:
    """Return how an encoding's movies carry their signal."""
    if one.movie_range is None:
        return "in the range that they are tagged with"
    source = one.movie_source or "given by the user"
    if one.movie_range == "full":
        return f"their codes are those of the formula, whatever their range tag ({source})"
    return f"the signal is scaled into legal range ({source})"


def _output(one: Output) -> str:
    lines = [
        f"## {one.name}",
        "",
        f"- also called: {', '.join(one.aliases) or 'nothing else'}",
        f"- primaries: {one.display.name}, colours limited to {one.limiting.name}",
        f"- curve: {one.curve!r}",
        f"- reference white {one.reference_white:g}, peak {one.peak:g} cd/m2",
        f"- files: {one.range} range, {one.bits} bits unless the recipe says otherwise; "
        f"{one.interface_range} range on a video interface",
        f"- ACES 2 rendering: {'yes' if one.aces2_style else 'none published'}",
        f"- interop id: {one.interop_id or 'none published'}",
        f"- source: {one.source} ({one.evidence})",
        "- the delivery specification decides about levels",
    ]
    return "\n".join([*lines, f"- {one.note}"] if one.note else lines)


def _table(title: str, head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    cells = [list(head), *([cell.replace("|", "/") for cell in row] for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head))]
    drawn = [
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |"
        for row in cells
    ]
    rule = "| " + " | ".join("-" * width for width in widths) + " |"
    lines = [title, "", drawn[0], rule, *drawn[1:]]
    if "seen" in head:
        lines += ["", "Seen: V in an official copy, V2 in a copy that quotes it, M from memory, "
                  "C as an independent library has it, O as OpenColorIO has it."]  # fmt: skip
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    for written in write_pages(Path(sys.argv[1] if len(sys.argv) > 1 else "configs/reference")):
        print(written)
