"""A recipe's graph in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lookkit.nodes.base import Op

if TYPE_CHECKING:
    from lookkit.look import Look


def describe(look: Look) -> str:
    """Return the graph of every camera and output as text."""
    recipe = look.recipe
    lines = [f"{recipe.name}, version {recipe.version}, for {recipe.show}", ""]
    for camera in look.cameras:
        step = look.graph.input_transform(camera)
        lines.append(f"camera {camera}: {step.encoding.name}, {step.signal_range} range")
    lines.append("look:")
    steps = look.graph.look()
    lines += [f"  {_step(step)}" for step in steps] or ["  (no nodes)"]
    for name in look.outputs:
        target = look.graph.output(name)
        lines.append(f"output {name}: {target.name}, {target.range} range")
        lines += [f"  {_step(step)}" for step in look.graph.rendering(name)]
    lines += ["", "nothing is wrong with it"]
    return "\n".join(lines)


def _step(step: Op) -> str:
    return f"{step.label}: {step.takes} -> {step.gives}"
