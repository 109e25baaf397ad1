"""A recipe's graph as a picture: light flows from the cameras on the left to the outputs.

A long graph wraps as a text does: a line that leaves on the right goes on below, on the left.

A box is a step, with what it sets; one that is off has a dashed edge. The line between two boxes
tells by its style what the numbers on it mean: scene light or display light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookkit.errors import InputError
from lookkit.files import write_beside
from lookkit.nodes.base import Node
from lookkit.plotting import LIGHT, figure
from lookkit.recipe.wiring import wire
from lookkit.report.describe import settings
from lookkit.spaces.working import State

if TYPE_CHECKING:
    from lookkit.look import Look

_STYLES: dict[State, Any] = {
    State.SCENE: "solid",
    State.DISPLAY: (0, (5, 2)),
}
_WIDTH, _HEIGHT = 1.9, 0.86
_COLUMN, _ROW = 2.5, 1.08
_LETTERS = 27
_ACROSS = 5
"""Columns side by side; those after them stand below."""
_LINES = 3
_BETWEEN = 1.5
"""Rows from the lowest box to the highest one of what stands below."""


@dataclass(frozen=True)
class Inks:
    """The colours of the picture."""

    ink: str = LIGHT["ink"]
    paper: str = LIGHT["sheet"]
    line: str = LIGHT["quiet"]


@dataclass
class _Box:
    """One step: its place in columns and rows, its words, and whether it is on."""

    column: int
    row: float
    title: str
    lines: list[str]
    on: bool = True


@dataclass
class _Drawing:
    """Boxes, and lines between them by the boxes' numbers."""

    boxes: list[_Box] = field(default_factory=list)
    lines: list[tuple[int, int, State]] = field(default_factory=list)

    def add(self, box: _Box, before: Sequence[int], state: State) -> int:
        """Add a box with lines from others; return its number."""
        self.boxes.append(box)
        number = len(self.boxes) - 1
        self.lines += [(one, number, state) for one in before]
        return number


def draw_graph(look: Look, path: Path) -> None:
    """Draw the graph into an SVG or PNG.

    Raises
    ------
    InputError
        If its ending is another.
    LookkitError
        If matplotlib is not installed, or the picture cannot be written.
    """
    if path.suffix.lower() not in (".svg", ".png"):
        raise InputError(f"{path}: expected a name that ends with .svg or .png")
    made = graph_figure(look)
    import matplotlib as mpl

    with write_beside(path) as beside, mpl.rc_context({"svg.hashsalt": "lookkit"}):
        dated = {"Date": None} if path.suffix.lower() == ".svg" else None
        made.savefig(beside, facecolor=LIGHT["paper"], metadata=dated)


def graph_figure(look: Look, inks: Inks | None = None, *, titled: bool = True) -> Any:
    """Return the graph as a matplotlib figure.

    Raises
    ------
    LookkitError
        If matplotlib is not installed.
    """
    inks = inks or Inks()
    drawing = _layout(look)
    columns = 1 + max(box.column for box in drawing.boxes)
    across = min(columns, _ACROSS)
    rows = [box.row for box in drawing.boxes]
    deep = max(rows) - min(rows) + _BETWEEN
    bands = (columns - 1) // _ACROSS
    last = min(rows) - bands * deep
    low, high = last - 1.25, max(rows) + 0.8
    width = _COLUMN * across + 0.3
    made, (axis,) = figure(1, width=width, height=_ROW * (high - low) + 0.4)
    axis.set_xlim(-0.5 * _COLUMN - 0.1, _COLUMN * (across - 0.5) + 0.1)
    axis.set_ylim(_ROW * low, _ROW * high)
    axis.set_aspect("equal")
    axis.set_axis_off()
    if titled:
        recipe = look.recipe
        title = f"{recipe.name}, version {recipe.version}, for {recipe.show}"
        axis.set_title(title, fontsize=11, color=inks.ink)
    for start, end, state in drawing.lines:
        _draw_line(axis, drawing.boxes[start], drawing.boxes[end], state, inks, deep)
    for box in drawing.boxes:
        _draw_box(axis, box, inks, deep)
    _draw_legend(axis, _ROW * (last - 0.95), inks)
    return made


def _layout(look: Look) -> _Drawing:
    drawing = _Drawing()
    recipe = look.recipe
    cameras: dict[str, int] = {}
    widest = max((_depth(one.trims) for one in recipe.cameras.values()), default=0)
    for row, name in enumerate(look.cameras):
        step = look.graph.input_transform(name)
        y = _spread(row, len(look.cameras))
        lines = [step.encoding.name, f"{step.signal_range} range"]
        matched = dict.fromkeys(one.file.reference for one in recipe.matches_of(name))
        lines += [f"matched to {reference}" for reference in matched]
        first = drawing.add(_Box(0, y, f"camera {name}", lines), [], State.SCENE)
        cameras[name] = _add_nodes(drawing, recipe.cameras[name].trims, [first], 1, y,
                                   State.SCENE)[0]  # fmt: skip
    column = 1 + widest
    ways = [*cameras.values()]
    if recipe.scenes:
        ways, column = _add_scenes(drawing, look, cameras, column)
    if not drawing.boxes:
        ways = [drawing.add(_Box(0, 0.0, "any camera", ["scene light"]), [], State.SCENE)]
    ends = _add_nodes(drawing, recipe.look, ways, column, 0.0, State.SCENE)
    column += _depth(recipe.look)
    for row, name in enumerate(look.outputs):
        y = _spread(row, len(look.outputs))
        rendering = recipe.rendering_for(name)
        box = _Box(column, y, rendering.label, settings(rendering))
        rendered = drawing.add(box, ends, State.SCENE)
        target = look.graph.output(name)
        lines = [target.name, f"{target.range} range, {target.bits} bits"]
        box = _Box(column + 1, y, f"output {name}", lines)
        drawing.add(box, [rendered], State.DISPLAY)
    return drawing


def _add_scenes(
    drawing: _Drawing, look: Look, cameras: dict[str, int], column: int
) -> tuple[list[int], int]:
    """Add a way for each scene, and one for shots of no scene; return their ends."""
    recipe = look.recipe
    ways: list[int] = []
    names = [None, *recipe.scenes]
    for row, name in enumerate(names):
        y = _spread(row, len(names))
        if name is None:
            lines: list[str] = []
            trims: tuple[Node, ...] = ()
            taken = list(cameras.values())
        else:
            scene = recipe.scenes[name]
            light = scene.light
            lit = [f"{light:g} K" if isinstance(light, float) else light] if light else []
            changed = [f"changes {', '.join(scene.overrides)}"] if scene.overrides else []
            own = sum(one.is_trimmed and one.scene == name for one in recipe.shots)
            shots = [f"{own} shot{'s' * (own > 1)} with trims"] if own else []
            lines, trims = [*lit, *changed, *shots], scene.trims
            taken = [cameras[one] for one in recipe.cameras_of(name)]
        title = "no scene" if name is None else f"scene {name}"
        first = drawing.add(_Box(column, y, title, lines), taken, State.SCENE)
        ways += _add_nodes(drawing, trims, [first], column + 1, y, State.SCENE)
    widest = max(_depth(scene.trims) for scene in recipe.scenes.values())
    return ways, column + 1 + widest


def _add_nodes(
    drawing: _Drawing,
    nodes: Sequence[Node],
    before: list[int],
    column: int,
    row: float,
    state: State,
) -> list[int]:
    """Add a list of nodes from a column on; return the numbers of what its light comes from."""
    if not nodes:
        return before
    wiring = wire(nodes)
    depth = _depths(nodes)
    numbers: dict[int, int] = {}
    for index in wiring.order:
        beside = [other for other in wiring.order if depth[other] == depth[index]]
        node = nodes[index]
        acts = [f"mix {node.mix:g}"] if node.mix != 1.0 else []
        acts += ["only in part"] if node.only is not None else []
        place = row + _spread(beside.index(index), len(beside))
        box = _Box(column + depth[index], place, node.label, [*settings(node), *acts], node.enabled)
        sources = [numbers[s] for s in wiring.sources(index) if s >= 0]
        starts = before if -1 in wiring.sources(index) else []
        numbers[index] = drawing.add(box, [*starts, *sources], state)
    return [numbers[wiring.result]]


def _depth(nodes: Sequence[Node]) -> int:
    return 1 + max(_depths(nodes).values(), default=-1)


def _depths(nodes: Sequence[Node]) -> dict[int, int]:
    """Return how many nodes at most lie before each node that light goes through."""
    wiring = wire(nodes)
    depth = {-1: -1}
    for index in wiring.order:
        depth[index] = 1 + max(depth[source] for source in wiring.sources(index))
    del depth[-1]
    return depth


def _spread(row: int, rows: int) -> float:
    return (rows - 1) / 2.0 - row


def _place(column: int, row: float, deep: float) -> tuple[float, float]:
    """Return where the middle of a box stands; `deep` is rows from one band to the next."""
    return _COLUMN * (column % _ACROSS), _ROW * (row - column // _ACROSS * deep)


def _draw_box(axis: Any, box: _Box, inks: Inks, deep: float) -> None:
    from matplotlib.patches import FancyBboxPatch

    x, y = _place(box.column, box.row, deep)
    axis.add_patch(
        FancyBboxPatch(
            (x - _WIDTH / 2, y - _HEIGHT / 2), _WIDTH, _HEIGHT,
            boxstyle="round,pad=0,rounding_size=0.09", facecolor=inks.paper, edgecolor=inks.ink,
            linewidth=0.9, linestyle="solid" if box.on else (0, (3, 2)), zorder=3,
        )
    )  # fmt: skip
    lines = [_cut(line) for line in box.lines[:_LINES]]
    if len(box.lines) > _LINES:
        lines[-1] = f"and {len(box.lines) - _LINES + 1} more"
    if not box.on:
        lines = ["off", *lines][:_LINES]
    top = y + 0.1 * len(lines)
    axis.text(x, top, _cut(box.title), ha="center", va="center", fontsize=8, weight="bold",
              color=inks.ink, zorder=4)  # fmt: skip
    for place, line in enumerate(lines, start=1):
        axis.text(x, top - 0.2 * place, line, ha="center", va="center", fontsize=6.5,
                  color=inks.ink, zorder=4)  # fmt: skip


def _cut(text: str) -> str:
    return text if len(text) <= _LETTERS else text[: _LETTERS - 3] + "..."


def _draw_line(axis: Any, start: _Box, end: _Box, state: State, inks: Inks, deep: float) -> None:
    from matplotlib.patches import FancyArrowPatch
    from matplotlib.path import Path as Curve

    # Along its own row as far as there may be other boxes, and over in the last gap.
    gap = _COLUMN - _WIDTH
    left, right = -0.5 * _WIDTH - gap / 2, _COLUMN * (_ACROSS - 1) + 0.5 * _WIDTH + gap / 2
    x0 = _place(start.column, start.row, deep)[0] + _WIDTH / 2
    x1, y1 = _place(end.column, end.row, deep)
    x1 -= _WIDTH / 2
    how = {"linewidth": 1.1, "linestyle": _STYLES[state], "color": inks.line, "zorder": 2}
    for band in range(start.column // _ACROSS, end.column // _ACROSS):
        y = _place(band * _ACROSS, start.row, deep)[1]
        axis.plot([x0, right], [y, y], **how)
        axis.plot([right], [y], ">", color=inks.line, markersize=4, zorder=2)
        x0 = left
    y0 = _place(end.column, start.row, deep)[1]
    points = [(x0, y0), (x1 - gap, y0), (x1 - gap / 2, y0), (x1 - gap / 2, y1), (x1, y1)]
    if x0 > x1 - gap:
        points = [(x0, y0), (x0, y0), ((x0 + x1) / 2, y0), ((x0 + x1) / 2, y1), (x1, y1)]
    curve = Curve(points, [Curve.MOVETO, Curve.LINETO, *[Curve.CURVE4] * 3])
    axis.add_patch(FancyArrowPatch(path=curve, arrowstyle="-|>", mutation_scale=9, **how))


def _draw_legend(axis: Any, y: float, inks: Inks) -> None:
    x = -0.5 * _WIDTH
    for state in _STYLES:
        axis.plot([x, x + 0.5], [y, y], linestyle=_STYLES[state], color=inks.line, linewidth=1.1)
        axis.text(x + 0.6, y, f"{state} light", va="center", fontsize=7, color=inks.ink)
        x += 1.75
