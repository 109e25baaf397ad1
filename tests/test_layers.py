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
    {"lutfile"},
    {"lattice"},
    {"look"},
    {"deliver", "inspect", "trace", "explain"},
    {"media"},
    {"balance", "start"},
    {"match"},
    {"report"},
    {"handoff"},
    {"page"},
    {"cli"},
    {"__main__"},
)
LEVEL = {name: level for level, names in enumerate(LAYERS) for name in names}
FILES = sorted(PACKAGE.rglob("*.py"))


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imported(tree: ast.Module) -> set[str]:
    """The parts of lookkit that a module imports when it is imported itself."""
    found: set[str] = set()
    waiting: list[ast.AST] = list(tree.body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        waiting.extend(ast.iter_child_nodes(node))
    return {name.split(".")[1] for name in found if name.startswith("lookkit.")}


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_its_own_layer_and_those_below(path):
    part = part_of(path)
    if part == "__init__":
        return
    above = {
        name
        for name in imported(ast.parse(path.read_text(encoding="utf-8")))
        if LEVEL[name] > LEVEL[part] or (LEVEL[name] == LEVEL[part] and name != part)
    }
    assert not above


def test_every_part_has_its_layer():
    assert {part_of(path) for path in FILES} - {"__init__"} <= set(LEVEL)
