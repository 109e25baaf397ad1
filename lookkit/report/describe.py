"""A recipe's graph in words and as a picture, and what to beware of."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from lookkit.files import write_beside
from lookkit.lower import pieces
from lookkit.nodes.base import Op, Step
from lookkit.recipe.wiring import wire

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lookkit.look import Look
    from lookkit.nodes.base import Node


def describe(look: Look) -> str:
    """Return the graph of every camera, scene and output as text, with all warnings."""
    recipe, graph = look.recipe, look.graph
    lines = [f"{recipe.name}, version {recipe.version}, for {recipe.show}", ""]
    for camera in look.cameras:
        step = graph.input_transform(camera)
        lines.append(
            f"camera {camera}: {step.encoding.name}, {step.signal_range} range, "
            f"{step.bits or step.encoding.bits} bits"
        )
        lines += _list(recipe.cameras[camera].trims)
    for scene in look.scenes:
        cameras = ", ".join(recipe.cameras_of(scene))
        light = recipe.scenes[scene].light
        lit = (
            "" if light is None else f", {light:g} K" if isinstance(light, float) else f", {light}"
        )
        lines.append(f"scene {scene}: cameras {cameras}{lit}")
        lines += _list(recipe.scenes[scene].trims)
        for name, changes in recipe.scenes[scene].overrides.items():
            lines.append(f"  changes {name}: {', '.join(map(str, changes))}")
    lines.append("look:")
    lines += _list(recipe.look) or ["  (no nodes)"]
    for part in pieces(graph.look()):
        if part.size:
            lines.append(
                f"  OpenColorIO carries [{part.label}] as one lattice of {part.size} points: "
                f"99 % of light within {100 * part.error:.2g} %, all within "
                f"{100 * part.largest:.2g} %"
            )
    for name in look.outputs:
        target = graph.output(name)
        wired = "" if target.range == target.interface_range else (
            f" (a video interface carries {target.interface_range} range)")  # fmt: skip
        lines.append(
            f"output {name}: {target.name}, {target.range} range{wired}, {target.bits} bits"
        )
        lines += [f"  {_step(step)}" for step in graph.rendering(name)]
    beware = warnings(look)
    lines.append("")
    lines += [f"beware: {one}" for one in beware] or ["nothing is wrong with it"]
    return "\n".join(lines)


def warnings(look: Look) -> list[str]:
    """Return what is allowed but close to going wrong: nodes near a fold, signal ranges."""
    recipe = look.recipe
    found = []
    lists: list[tuple[str, Sequence[Step]]] = [("look", recipe.look)]
    lists += [(f"camera {name}", one.trims) for name, one in recipe.cameras.items()]
    lists += [(f"scene {name}", one.trims) for name, one in recipe.scenes.items()]
    for where, nodes in lists:
        for node in nodes:
            found += [f"{where}, {node.label}: {text}" for text in node.warnings()]
    for name in look.cameras:
        step = look.graph.input_transform(name)
        native = step.encoding.native_range
        if step.encoding.is_log and step.signal_range == "legal" and native == "full":
            found.append(
                f"camera {name}: {step.encoding.name} is recorded in full range, and is read as "
                "legal range here; black is lifted and white clipped if its files are full"
            )
        elif step.signal_range != native:
            found.append(
                f"camera {name}: {step.encoding.name} is usually {native} range, and is read as "
                f"{step.signal_range} range here"
            )
    return found


def _list(nodes: Sequence[Node]) -> list[str]:
    """Return a line for each node; where it does not follow the one above, from where."""
    wiring = wire(nodes)
    lines = []
    for index, node in enumerate(nodes):
        plugs = wiring.plugs[index]
        follows = len(plugs) == 1 and plugs[0].source == index - 1
        names = [nodes[p.source].id or f"node {p.source + 1}" if p.source >= 0 else "start"
                 for p in plugs]  # fmt: skip
        notes = [] if follows else [f"takes {', '.join(names)}"]
        notes += [] if node.enabled else ["off"]
        notes += [f"mix {node.mix:g}"] if node.mix != 1.0 else []
        notes += ["only in part of the picture"] if node.only is not None else []
        tail = f" ({'; '.join(notes)})" if notes else ""
        lines.append(f"  {index + 1}. {node.label}{tail}")
    return lines


def _step(step: Op) -> str:
    return f"{step.label}: {step.takes} -> {step.gives}"


def draw_graph(look: Look, path: Path) -> None:
    """Draw the graph as boxes and arrows, from cameras on the left to outputs on the right.

    Raises
    ------
    LookkitError
        If matplotlib is not installed, or the picture cannot be written.
    """
    from lookkit.report.plotting import figure

    boxes, arrows = _layout(look)
    columns = 1 + max(x for x, _, _ in boxes.values())
    rows = 1 + max(abs(y) for _, y, _ in boxes.values())
    drawing, (axis,) = figure(1, width=2.0 * columns + 0.6, height=1.0 + 1.1 * rows)
    for start, end in arrows:
        (x0, y0, _), (x1, y1, _) = boxes[start], boxes[end]
        axis.annotate("", (x1 - 0.32, y1), (x0 + 0.32, y0),
                      arrowprops={"arrowstyle": "->", "color": "0.35"})  # fmt: skip
    for x, y, text in boxes.values():
        axis.text(x, y, text, ha="center", va="center", fontsize=8,
                  bbox={"boxstyle": "round,pad=0.5", "fc": "#f4f2ee", "ec": "0.35"})  # fmt: skip
    ys = [y for _, y, _ in boxes.values()]
    axis.set_xlim(-0.7, columns - 0.3)
    axis.set_ylim(min(ys) - 0.7, max(ys) + 0.7)
    axis.set_axis_off()
    axis.set_title(f"{look.recipe.name}, version {look.recipe.version}")
    with write_beside(path) as beside:
        drawing.savefig(beside)


_Boxes = dict[Any, tuple[float, float, str]]


def _layout(look: Look) -> tuple[_Boxes, list[tuple[Any, Any]]]:
    """Return boxes (column, row, text) by key, and arrows between keys."""
    nodes = look.recipe.look
    wiring = wire(nodes)
    boxes: _Boxes = {}
    arrows: list[tuple[Any, Any]] = []
    cameras = look.cameras or ("any camera",)
    for row, camera in enumerate(cameras):
        name = camera
        if look.cameras:
            name = f"camera {camera}\n{look.graph.input_transform(camera).encoding.name}"
        boxes["camera", row] = (0.0, _spread(row, len(cameras)), name)
    boxes["start"] = (1.0, 0.0, "scene light")
    arrows += [(("camera", row), "start") for row in range(len(cameras))]
    column = {-1: 1}
    for index in wiring.order:
        column[index] = 1 + max(column[source] for source in wiring.sources(index))
    for index in wiring.order:
        node = nodes[index]
        beside = [other for other in wiring.order if column[other] == column[index]]
        y = _spread(beside.index(index), len(beside))
        label = node.label + ("" if node.enabled else "\n(off)")
        boxes[index] = (float(column[index]), y, label.replace(" (", "\n("))
        for source in wiring.sources(index):
            arrows.append((source if source >= 0 else "start", index))
    last: Any = wiring.result if wiring.result >= 0 else "start"
    end = 1 + max(column.values())
    for row, name in enumerate(look.outputs):
        rendering = look.recipe.rendering_for(name)
        y = _spread(row, len(look.outputs))
        boxes["rendering", row] = (float(end), y, rendering.label)
        boxes["output", row] = (end + 1.0, y, f"{name}\n{look.graph.output(name).name}")
        arrows += [(last, ("rendering", row)), (("rendering", row), ("output", row))]
    return boxes, arrows


def _spread(row: int, rows: int) -> float:
    return (rows - 1) / 2.0 - row
