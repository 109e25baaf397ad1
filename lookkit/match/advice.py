"""What to shoot better next time, by what was found."""

from __future__ import annotations

from typing import Final

from lookkit.match.make import Matched

_FEW_PIXELS: Final = 300
_BY_CHECK: Final = {
    "clipped": "expose the chart less, so that its white does not clip",
    "flare unknown": "shoot the chart at -2, 0 and +2 stops: then stray light is measured too",
    "flared": "shade the lens, keep bright things out of the picture: stray light lay on the chart",
    "glared": "turn the chart until no lamp shines back from it and no shadow lies on it",
    "shaded": "move the lamp back or to the front: the light fell off over the chart",
    "mixed light": "light the chart by the scene's lamps alone, and by all of them alike",
    "noisy": "average more frames, or more light",
    "cast": "set both cameras' white balance for this light",
    "bracket": "set the exposures by the lens or shutter, and note what they are",
    "edition": "look on the chart's back for its year, and name that edition",
    "two editions": "shoot one and the same chart with both cameras",
    "lost": "look why the frames hold pixels that are no numbers",
    "light": "shoot both charts in the scene's own light",
}


def next_time(made: Matched) -> tuple[str, ...]:
    """Return what would make the next match better or surer, most worth first."""
    told = {one.check for one in made.findings if one.level == "warning"}
    if any(one.check == "flare unknown" for one in made.findings):
        told.add("flare unknown")
    scene = [one for one in made.findings if one.check == "scene"]
    words = [text for check, text in _BY_CHECK.items() if check in told]
    if any(one.level == "warning" and one.figure > 0.0 for one in scene):
        words.insert(0, _BY_CHECK["light"])
    if made.camera:
        fewest = min(int(one.patches.pixels.max()) for one in (*made.camera, *made.reference))
        if fewest < _FEW_PIXELS:
            words.append("let the chart fill more of the picture: its patches are small")
        if made.file.lights[0].statistics.scene is None and made.reference:
            words.append(
                "film one frame of the scene with both cameras (--scene-frame): only that shows "
                "how the match holds there"
            )
    else:
        words.append("shoot the chart with both cameras: a match from it is surer")
    return tuple(dict.fromkeys(words))
