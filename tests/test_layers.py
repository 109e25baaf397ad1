"""Dependencies point one way."""

import ast
from pathlib import Path

import pytest

import lookkit

PACKAGE = Path(lookkit.__file__).parent

LAYERS = (
    {"version", "errors", "progress"},
    {"files", "plotting"},
    {"kernel"},
    {"spaces"},
    {"ocio", "bounded"},
    {"lutfile"},
    {"accuracy"},
    {"nodes"},
    {"matchfile"},
    {"recipe"},
    {"graph"},
    {"evaluate"},
    {"coordinates"},
    {"piece_fit"},
    {"piece"},
    {"lower"},
    {"lattice", "texture"},
    {"look"},
    {"deliver", "inspect", "trace", "explain"},
    {"media"},
    {"balance", "start"},
    {"match"},
    {"report"},
    {"adopt"},
    {"handoff"},
    {"page"},
    {"cli"},
    {"__main__"},
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
FILES = sorted(PACKAGE.rglob("*.py"))


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


FRONT_DOOR = {("look", "deliver")}
"""`Look.cube` and `Look.ocio_config` call what writes them: the library's users have one class."""

MODULES = {
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"): path
    for path in FILES
}


def imported(tree: ast.AST, *, inner: bool = True) -> set[str]:
    """The modules and names of lookkit that a module imports, in function bodies too if `inner`."""
    found: set[str] = set()
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not inner:
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        waiting.extend(ast.iter_child_nodes(node))
    return {name for name in found if name.startswith("lookkit.")}


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_its_own_layer_and_those_below(path):
    part = part_of(path)
    if part == "__init__":
        return
    above = {
        name
        for name in {one.split(".")[1] for one in imported(parsed(path))}
        if LEVEL[name] > LEVEL[part] or (LEVEL[name] == LEVEL[part] and name != part)
    }
    assert {(part, name) for name in above} <= FRONT_DOOR


def test_no_modules_import_each_other_in_a_circle():
    needed = {
        name: {
            one if one in MODULES else one.rpartition(".")[0]
            for one in imported(parsed(path))
        } & set(MODULES) - {name, "lookkit"}
        for name, path in MODULES.items()
        if name != "lookkit.look"
    }  # fmt: skip
    while free := [name for name, others in needed.items() if not others & set(needed)]:
        for name in free:
            del needed[name]
    assert sorted(needed) == []


def test_every_part_has_its_layer():
    assert {part_of(path) for path in FILES} - {"__init__"} <= set(LEVEL)
