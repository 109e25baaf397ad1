"""A recipe's graph in words, and what to beware of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lookkit.lower import unsayable
from lookkit.nodes.base import Node, Op, Step, Table
from lookkit.piece import labels
from lookkit.recipe.wiring import wire

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lookkit.look import Look


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
        lines += [f"  {one}" for one in _matches(look, camera)]
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
    for shot in recipe.shots:
        if shot.is_trimmed:
            lines.append(f"shot {shot.setting}: camera {shot.camera}")
            lines += _list(shot.trims)
            if shot.keys:
                stops = [key.stops for key in shot.keys]
                lines.append(
                    f"  {len(shot.keys)} key frames to frame {shot.keys[-1].frame}, from "
                    f"{min(stops):+.2f} to {max(stops):+.2f} stop; files hold their middle"
                )
    lines.append("look:")
    lines += _list(recipe.look) or ["  (no nodes)"]
    if unsaid := unsayable(graph.look()):
        lines.append(f"  the OCIO config carries [{labels(unsaid)}] as one 3D LUT")
    for name in look.outputs:
        target = graph.output(name)
        wired = "" if target.range == target.interface_range else (
            f" (a video interface carries {target.interface_range} range)")  # fmt: skip
        lines.append(
            f"output {name}: {target.name}, {target.range} range{wired}, {target.bits} bits"
        )
        lines += [f"  {_step(step)}" for step in graph.rendering(name)]
    lines += _texture(look)
    beware = warnings(look)
    lines.append("")
    lines += [f"beware: {one}" for one in beware] or ["nothing is wrong with it"]
    return "\n".join(lines)


def _texture(look: Look) -> list[str]:
    texture = look.recipe.texture
    if texture is None:
        return []
    n = texture.numbers
    layers = "red-, green-, blue-sensitive layer"
    return [
        f"texture: like {texture.like}, amount {texture.amount:g}, gate {n.gate:g} mm ({layers})",
        f"  halation {_three(n.halation, '.2%')}, softness {_three(n.softness)} cycles/mm, "
        f"edge {n.edge:.0%}",
        f"  granularity {_three(n.granularity)}, grain {_three(n.grain)} micrometres",
        "  apply, sheets and the page show it; LUTs, CLF, CDL and config cannot carry it",
    ]


def _three(values: Sequence[float], form: str = "g") -> str:
    return ", ".join(format(one, form) for one in values)


def warnings(look: Look) -> list[str]:
    """Return what is allowed but close to going wrong: nodes near a fold, signal ranges."""
    recipe = look.recipe
    found = []
    if not look.cameras:
        found.append("no cameras, so nothing can be graded: [cameras.A] with its encoding")
    if not look.outputs:
        found.append("no outputs, so nothing can be shown: [outputs.monitor] with its output")
    lists: list[tuple[str, Sequence[Step]]] = [("look", recipe.look)]
    lists += [(f"camera {name}", one.trims) for name, one in recipe.cameras.items()]
    lists += [(f"scene {name}", one.trims) for name, one in recipe.scenes.items()]
    lists += [(f"shot {one.setting}", one.trims) for one in recipe.shots]
    for where, nodes in lists:
        for node in nodes:
            found += [f"{where}, {node.label}: {text}" for text in node.warnings()]
    found += look.recipe.all_match_warnings((None, *look.scenes))
    if look.recipe.texture is not None and look.recipe.texture.is_on:
        found += [
            f"output {name} has no texture: {look.recipe.rendering_for(name).kind} has no negative"
            for name in look.outputs
            if not look.has_texture(name)
        ]
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


def _matches(look: Look, camera: str) -> list[str]:
    """Return a line for each match of a camera: how good it is, and which scenes take it."""
    recipe = look.recipe
    took = [scene for scene in look.scenes if camera in recipe.cameras_of(scene)]
    lines = []
    for match in recipe.matches_of(camera):
        known = match.one.statistics
        said = []
        if known.promise is not None:
            mean, skin = known.promise.mean, known.promise.skin
            said.append(
                f"on other colours Delta E about {mean.about:.1f}, up to {mean.up_to:.1f} on "
                f"average (skin {skin.about:.1f}, up to {skin.up_to:.1f})"
            )
        elif known.left_out is not None:
            said.append(f"on colours it did not see Delta E {known.left_out.mean:.1f} on average")
        said += ["approximate"] if known.approximate else []
        scenes = [scene for scene in took if recipe.match_of(camera, scene) == match]
        said += [f"scenes {', '.join(scenes)}"] if scenes else []
        said += ["in place of the input transform"] if match.one.curve is not None else []
        said += ["with a colour stage, which OpenColorIO carries as a 3D LUT"] if (
            match.one.roots is not None
        ) else []  # fmt: skip
        lines.append(f"{match.name}: {'; '.join(said)}" if said else match.name)
    return lines


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
        said = settings(node)
        head = f"{node.label}: {', '.join(said)}" if said else node.label
        tail = f" ({'; '.join(notes)})" if notes else ""
        lines.append(f"  {index + 1}. {head}{tail}")
    return lines


def settings(step: Step) -> list[str]:
    """Return what a node sets, in a few words each: numbers as they are, lists by their length."""
    said = []
    for name, field in type(step).model_fields.items():
        value = getattr(step, name)
        if name in Node.model_fields or name in Step.model_fields or value == field.default:
            continue
        said.append(f"{field.alias or name} {_short(value)}")
    return said


def _short(value: Any) -> str:
    if isinstance(value, Table):
        inner = {name: getattr(value, name) for name in sorted(value.model_fields_set)}
        return "{" + ", ".join(f"{name} {_short(one)}" for name, one in inner.items()) + "}"
    if isinstance(value, tuple):
        if all(isinstance(one, int | float) for one in value):
            return "[" + ", ".join(f"{one:g}" for one in value) + "]"
        return f"of {len(value)}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _step(step: Op) -> str:
    return f"{step.label}: {step.takes} -> {step.gives}"
