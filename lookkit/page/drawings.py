"""What stands beside a step: what it does to neutral light at each level, to hues, and handles."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from lookkit.evaluate import Runner
from lookkit.look import Look
from lookkit.nodes.base import Node, Op, Step
from lookkit.page.pictures import Pixels
from lookkit.spaces.level import stops_of
from lookkit.spaces.oklab import chroma_of, hue_of, oklab
from lookkit.spaces.working import MID_GREY

LOW, HIGH = -10.0, 8.0
_POINTS = 73
_LEAST = 2.0**-20


Lights = Sequence[tuple[str | None, Pixels]]
"""Scenes, and light of pictures in them, shape (height, width, 3)."""


def levels_of(lights: Lights) -> list[dict[str, Any]]:
    """Return how often each level of light is in each scene: a share a quarter of a stop."""
    scenes: dict[str | None, list[Any]] = {}
    for scene, light in lights:
        scenes.setdefault(scene, []).append(stops_of(light.reshape(-1, 3).astype(np.float64)))
    made = []
    for scene, found in scenes.items():
        counts, _ = np.histogram(np.concatenate(found), bins=_POINTS - 1, range=(LOW, HIGH))
        made.append({"scene": scene, "share": (counts / max(counts.max(), 1)).round(3).tolist()})
    return made


def hues_of(lights: Lights, count: int = 400) -> list[list[float]]:
    """Return hue in degrees and chroma of colours of all pictures, evenly drawn."""
    if not lights:
        return []
    each = max(1, count // len(lights))
    found = []
    for _, light in lights:
        flat = light.reshape(-1, 3)
        at = np.linspace(0, len(flat) - 1, each * 4).astype(int)
        lab = oklab(flat[at].astype(np.float64))
        chroma, hue = chroma_of(lab), hue_of(lab) % 360.0
        keep = np.argsort(-chroma)[:each]
        found.append(np.stack([hue[keep], chroma[keep]], axis=-1))
    return [[round(float(h), 1), round(float(c), 3)] for h, c in np.concatenate(found)]


def drawing(
    look: Look, step: Step, output: str, quick: Callable[[Op], Op] = lambda op: op
) -> dict[str, Any] | None:
    """Return the drawing of a step; `quick` is what a step is replaced by while a hand moves it.

    Returns
    -------
    dict or None
        `tone`: what comes out (stops) for stops in, of each channel, with handles of points and
        of bands in stops; `hues`: bands around the circle; `print`: the signal for stops in.
    """
    stops = np.linspace(LOW, HIGH, _POINTS)
    grey = np.repeat((MID_GREY * np.exp2(stops))[:, None], 3, axis=1).astype(np.float32)
    if not isinstance(step, Node):
        target = look.graph.output(output)
        ops = [*step.ops_for(target), *look.graph.output_steps(output)]  # type: ignore[attr-defined]
        ops = [quick(op) for op in ops]
        signal = Runner(ops).run(grey)
        return {"form": "print", "x": [LOW, HIGH], "curves": signal.T.round(4).tolist()}
    hue_rows = getattr(step, "bands", None)
    if hue_rows and "degrees" in str(type(hue_rows[0]).model_fields["centre"].json_schema_extra):
        bands = [
            {
                "key": ["bands", index],
                "centre": band.centre,
                "width": band.width,
                "soft": band.soft,
                "turn": band.turn,
                "saturation": band.saturation,
            }
            for index, band in enumerate(hue_rows)
        ]
        return {"form": "hues", "bands": bands}
    if step.kind == "blend":
        return None
    out = np.maximum(Runner((step,)).run(grey).astype(np.float64), _LEAST)
    added = np.log2(out / MID_GREY) - stops[:, None]
    handles: list[dict[str, Any]] = []
    for name in ("zones", "bands"):
        for index, row in enumerate(getattr(step, name, ()) or ()):
            if hasattr(row, "centre") and hasattr(row, "exposure"):
                handles.append(
                    {
                        "x": row.centre,
                        "y": row.exposure,
                        "xkey": [name, index, "centre"],
                        "ykey": [name, index, "exposure"],
                        "name": f"band {index + 1}",
                    }
                )
    if step.kind == "curve":
        for index, (x, y) in enumerate(step.points):  # type: ignore[attr-defined]
            handles.append(
                {
                    "x": x,
                    "y": y - x,
                    "sum": True,
                    "xkey": ["points", index, 0],
                    "ykey": ["points", index, 1],
                    "name": f"point {index + 1}",
                }
            )
    flat = float(np.ptp(added)) < 1e-3 and abs(float(added.mean())) < 1e-3
    if flat and not handles:
        return None
    return {
        "form": "tone",
        "x": [LOW, HIGH],
        "curves": np.clip(added, -6, 6).T.round(3).tolist(),
        "handles": handles,
    }
