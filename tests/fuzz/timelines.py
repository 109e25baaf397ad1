"""Timelines (.edl, .otio) and shot lists (.csv, .toml): refused in words, or used."""

import json
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from lookkit.errors import LookkitError
from lookkit.handoff.timeline import mark_timeline
from lookkit.handoff.timeline.edl import annotated, events, stray_lines
from lookkit.handoff.timeline.reading import library
from lookkit.handoff.timeline.shots import read_shots
from lookkit.handoff.verify.timelines import timeline_rows
from lookkit.look import load
from lookkit.recipe.write import toml_text
from tests.fuzz.mutate import mutated, mutated_tables
from tests.fuzz.place import or_told, place
from tests.handoff.edits import VARIANTS

NAME = "timelines"
RECIPE = """schema = 1
name = "Warm print"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
[scenes.dusk]
cameras = ["A"]
[outputs.monitor]
output = "Rec.709 BT.1886"
[[shots]]
match = "A*"
camera = "A"
scene = "dusk"
[[shots]]
match = "*"
camera = "B"
"""
CSV = 'match,camera,scene,note\nA001*,A,dusk,"a note, with a comma"\nB*,B,,\n'
SHOTS: dict[str, Any] = {
    "shots": [
        {"match": "A001*", "camera": "A", "scene": "dusk", "note": "kiln"},
        {"match": ["B*", "C*"], "camera": "B"},
        {"match": "D??.mov", "camera": "B"},
    ]
}


@cache
def seeds() -> dict[str, list[bytes]]:
    """Valid files by ending."""
    made = []
    for name in ("plain", "graded", "transition"):
        read = (
            library().adapters.read_from_string(
                VARIANTS[name], adapter_name="cmx_3600", rate=24.0, ignore_timecode_mismatch=True
            )
            if name != "headed"
            else None
        )
        made.append(library().adapters.write_to_string(read, adapter_name="otio_json").encode())
    return {
        ".edl": [text.encode() for text in VARIANTS.values()],
        ".otio": made,
        ".csv": [CSV.encode()],
        ".toml": [toml_text(SHOTS).encode()],
    }


@cache
def _tables() -> list[dict[str, Any]]:
    return [json.loads(one) for one in seeds()[".otio"]]


@cache
def _film() -> Path:
    path = place() / "timelines" / "film.toml"
    path.parent.mkdir()
    path.write_text(RECIPE)
    return path


@cache
def _look() -> Any:
    return load(_film())


def case(number: int) -> tuple[str, bytes]:
    """The ending and the bytes of a case; EDLs, which everybody writes, come most often."""
    ending = (".edl", ".otio", ".edl", ".csv", ".otio", ".toml")[number % 6]
    if ending == ".otio" and number % 4:
        return ending, json.dumps(mutated_tables(_tables(), number)).encode()
    if ending == ".toml" and number % 4:
        text = toml_text(mutated_tables([SHOTS], number))
        return ending, text.encode("utf-8", "surrogatepass")
    return ending, mutated(seeds()[ending], number)


def read(number: int) -> None:
    """Read a case; raises what is a find."""
    ending, data = case(number)
    path = _film().with_name(f"x{ending}")
    path.write_bytes(data)
    if ending in (".csv", ".toml"):
        found, told = or_told(lambda: read_shots(path, _look()))
        assert found is not None or path.name in told
        return
    if ending == ".edl":
        text = data.decode("latin-1")
        found = events(text)
        list(stray_lines(text))
        # Where nothing is added, nothing changes.
        assert annotated(text, {}) == text
        assert annotated(text, {place: [] for place in range(len(found))}).count("\n") <= len(text)
    assert list(timeline_rows({path.name: path}, {}, path.parent, _look().recipe.shots))
    out = path.with_name(f"out{ending}")
    with suppress(LookkitError):
        mark_timeline(_film(), path, out, cdl="none", leave=True)
