"""A first recipe's text: what the files say, and a question where they do not say enough."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path, PurePosixPath
from typing import Final

from lookkit.recipe.shots import Shot, pattern_of
from lookkit.recipe.write import toml_value
from lookkit.start.footage import Take
from lookkit.start.groups import Camera, Scene

_TAGGED_SO: Final = ("BT.709 camera", "BT.2020 camera")
"""What cameras that record log tag their files as, too."""


def recipe_text(
    name: str, show: str, look: str, cameras: Sequence[Camera], scenes: Sequence[Scene]
) -> str:
    """Return a recipe that loads as it is."""
    parts = [
        "# Written by lookkit new from what the files say of themselves. A comment that begins\n"
        "# with ? is a question: answer it in the line below, and take the comment away.\n\n"
        f"schema = 1\nname = {toml_value(name)}\nshow = {toml_value(show)}\n"
        f"extends = {toml_value(look)}   # lookkit looks lists the others\n"
    ]
    parts += [_camera(one) for one in cameras]
    parts.append(
        '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n\n[outputs.web]\noutput = "sRGB"\n'
    )
    parts += [_scene(one) for one in scenes]
    parts.append(
        "# Whose file is whose, and of which scene; the first line that fits counts.\n"
        "# lookkit balance writes trims here.\n" + "\n".join(_shots(cameras, scenes))
    )
    return "\n".join(parts)


def stand_in(take: Take) -> str:
    """Return what stands where a file says nothing, until somebody answers.

    It is what a plain monitor shows, or for files of light the primaries of one.
    """
    if take.kind == "clip":
        return "BT.709 camera"
    return "Linear BT.709" if take.path.suffix.lower() == ".hdr" else "sRGB"


def question_of(camera: Camera) -> str:
    """Return what is to be asked of a camera's codes, or nothing."""
    take = camera.first
    if camera.encoding is None:
        return (
            f"What do the codes of these files mean ({take.said})? Which log or curve was the "
            f"camera set to? {stand_in(take)} stands here until then; lookkit explain "
            "encodings lists them."
        )
    if take.kind == "clip" and camera.encoding in _TAGGED_SO and take.bits >= 10:
        return (
            f"They are {take.said} and have {take.bits} bits. Cameras that record log often tag "
            "it so: was a log set? If so, name it."
        )
    return ""


def _camera(camera: Camera) -> str:
    take = camera.first
    rates = sorted({f"{float(one.rate):.6g}" for one in camera.takes if one.rate})
    sizes = list(dict.fromkeys(f"{one.width}x{one.height}" for one in camera.takes))
    said = [
        f"{len(camera.takes)} {_noun(camera)}", take.device, f"serial {take.serial}" if take.serial
        else "", ", ".join(sizes[:4]), f"{', '.join(rates)} frames/s" if rates else "",
        f"{take.bits} bits", take.coding,
    ]  # fmt: skip
    lines = _comment(", ".join(one for one in said if one))
    for asked in (question_of(camera), camera.alike):
        lines += _comment(f"? {asked}") if asked else []
    lines.append(f"[cameras.{_key(camera.name)}]")
    chosen = camera.encoding or stand_in(take)
    because = f"   # {take.said}" if camera.encoding else "   # a stand-in"
    lines.append(f"encoding = {toml_value(chosen)}{_plain(because)}")
    return "\n".join(lines) + "\n"


def _noun(camera: Camera) -> str:
    kind = {"clip": "clip", "still": "still", "sequence": "sequence", "raw": "raw still"}
    return kind[camera.first.kind] + ("s" if len(camera.takes) > 1 else "")


def _scene(scene: Scene) -> str:
    times = sorted(one.recorded for one in scene.takes if one.recorded)
    lines = []
    if times:
        first, last = times[0], times[-1]
        until = f"{last:%H:%M}" if last.date() == first.date() else f"{last:%Y-%m-%d %H:%M}"
        lines += _comment(f"{first:%Y-%m-%d %H:%M} to {until}, {_files(scene)}")
    else:
        lines += _comment(_files(scene))
    if scene.why:
        lines += _comment(f"apart: {scene.why}")
    lines += _comment("? Which light was it taken under? light = 5600 is daylight, in kelvin.")
    return "\n".join([*lines, f"[scenes.{_key(scene.name)}]"]) + "\n"


def _files(scene: Scene) -> str:
    count = len(scene.takes)
    return f"{count} file{'s' * (count > 1)}"


def _shots(cameras: Sequence[Camera], scenes: Sequence[Scene]) -> list[str]:
    """Return the shot list: a pattern for all takes of a camera in a scene where one fits."""
    places = [place_of(take) for camera in cameras for take in camera.takes]
    whose = {place_of(take): camera.name for camera in cameras for take in camera.takes}
    blocks = []
    for scene in scenes:
        for camera in cameras:
            mine = [place_of(one) for one in scene.takes if whose[place_of(one)] == camera.name]
            if not mine:
                continue
            whole = _shared(mine, places)
            for pattern in [whole] if whole else [pattern_of(one, places) for one in mine]:
                blocks.append(
                    f"[[shots]]\nmatch = {toml_value(pattern)}\ncamera = {toml_value(camera.name)}"
                    f"\nscene = {toml_value(scene.name)}\n"
                )
    return blocks


def place_of(take: Take) -> Path:
    """Return what a shot list compares: the file, or a sequence's name with # for digits."""
    return take.path.parent / take.name


def _shared(mine: Sequence[Path], all_places: Sequence[Path]) -> str:
    """Return a pattern that fits these files and no others, or nothing."""
    if len(mine) < 2:
        return ""
    first, last = min(one.name for one in mine), max(one.name for one in mine)
    same = 0
    while same < min(len(first), len(last)) and first[same] == last[same]:
        same += 1
    folder = mine[0].parent.name
    for pattern in (f"{first[:same]}*", f"{folder}/*", f"{folder}/{first[:same]}*"):
        plain = all(letter not in pattern[:-1] for letter in "[]?*\\") and pattern[0] not in " *"
        if plain and pattern.rstrip("*").strip("/"):
            shot = Shot(match=pattern, camera="A")
            fitting = sum(shot.fits(PurePosixPath(one.as_posix())) for one in all_places)  # type: ignore[arg-type]
            if fitting == len(mine) and all(shot.fits(one) for one in mine):
                return pattern
    return ""


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(_plain(text), 96)]


def _plain(text: str) -> str:
    """Return a text from a file on one line, without what TOML allows in no comment."""
    return "".join(one if one.isprintable() else " " for one in text).rstrip()


def _key(name: str) -> str:
    return name if name.replace("-", "").isalnum() and name.isascii() else toml_value(name)
