"""What one pixel of a picture is, and what each step makes of it."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from lookkit.evaluate import Runner
from lookkit.look import Look
from lookkit.page.pictures import Picture, trims_of
from lookkit.report.shown import seen
from lookkit.trace import trace_light


def picked(
    look: Look, picture: Picture, light: npt.NDArray[np.float32], output: str
) -> dict[str, Any]:
    """Return a pixel's numbers and its way through the steps.

    Parameters
    ----------
    light
        Scene light before all trims, shape (3,).

    Returns
    -------
    dict
        `light`, after the camera's own trims; `steps`, each with label, stops, hue, chroma,
        notes; `stops`, `hue` and `chroma` of the light that enters the look; `signal` and
        `code` of the output; `shown`, sRGB bytes.
    """
    setting = picture.taken.setting(look)
    light = Runner(trims_of(look, picture.camera)).run(light[None])[0]
    steps = trace_light(look, light.astype(np.float64), output=output, scene=setting)
    trims = len(look.graph.trims(setting))
    entering = steps[min(trims, len(steps) - 1)]
    target = look.graph.output(output)
    signal = np.array(steps[-1].values)
    top = 2**target.bits - 1
    return {
        "light": [float(value) for value in light],
        "camera": picture.camera,
        "scene": picture.scene,
        "stops": entering.stops,
        "hue": entering.hue,
        "chroma": entering.chroma,
        "signal": [round(float(value), 4) for value in signal],
        "code": [round(float(value) * top) for value in signal],
        "bits": target.bits,
        "shown": seen(target, signal[None])[0].tolist(),
        "steps": [
            {
                "label": one.label,
                "stops": one.stops,
                "hue": one.hue,
                "chroma": one.chroma,
                "luminance": one.luminance,
                "notes": list(one.notes),
            }
            for one in steps
        ],
    }
