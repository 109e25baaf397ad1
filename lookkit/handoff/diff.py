"""How two hand-offs or two recipes differ: parameters, files, and what a viewer sees.

Pictures are compared on the colours that certificates are judged on, encoded by the first recipe's
cameras and sent through both graphs, exactly; the difference is Delta E 2000 of the light of the
two displays, seen against the first one's white.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.accuracy.difference import delta_e_2000, lab
from lookkit.accuracy.samples import SetName, audit_sets
from lookkit.accuracy.truth import Light, steady
from lookkit.errors import InputError
from lookkit.handoff.manifest import NAME, sha256_of
from lookkit.kernel.formula import triple
from lookkit.lattice.of_graph import Baking
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.look import Look

PICTURES: Final[tuple[SetName, ...]] = ("image-like", "skin")
LIGHTS: Final[tuple[SetName, ...]] = ("saturated-emitters",)
_WORST: Final = 5
_APART: Final = 0.08
"""Colours nearer than this in every channel's code are told as one."""


@dataclass(frozen=True)
class Parameter:
    """A parameter that differs; None stands for none."""

    key: str
    old: Any
    new: Any

    def __str__(self) -> str:
        return f"{self.key}: {_shown(self.old)} -> {_shown(self.new)}"


@dataclass(frozen=True)
class File:
    """A file that differs: "added", "removed" or "changed"."""

    name: str
    what: str


@dataclass(frozen=True)
class Figures:
    """Delta E 2000 over a set of colours."""

    mean: float
    p99: float
    largest: float


@dataclass(frozen=True)
class Colour:
    """A colour that changed most: its code, both signals, and how both look as sRGB 0-255."""

    code: tuple[float, float, float]
    first: tuple[float, float, float]
    second: tuple[float, float, float]
    delta_e: float
    first_srgb: tuple[int, int, int]
    second_srgb: tuple[int, int, int]


@dataclass(frozen=True)
class Pictures:
    """How far pictures of one camera, output and scene differ.

    Attributes
    ----------
    pictures, lights
        Of what pictures hold, and of saturated coloured lights.
    worst
        Of both, the worst first, no two close together; none where nothing differs.
    """

    camera: str
    output: str
    scene: str | None
    pictures: Figures
    lights: Figures
    worst: tuple[Colour, ...]


@dataclass(frozen=True)
class Difference:
    """All that differs; `files` is None where one side is a recipe alone."""

    first: str
    second: str
    parameters: tuple[Parameter, ...]
    files: tuple[File, ...] | None
    pictures: tuple[Pictures, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain data, ready for JSON."""
        return asdict(self)


def diff(first: Path, second: Path) -> Difference:
    """Compare two hand-off folders, two recipes, or one of each.

    Raises
    ------
    InputError
        If one is neither, or its recipe cannot be loaded.
    """
    looks = _look(first), _look(second)
    both = first.is_dir() and second.is_dir()
    return Difference(
        str(first),
        str(second),
        tuple(parameters(*looks)),
        tuple(files(first, second)) if both else None,
        tuple(pictures(*looks)),
    )


def _look(path: Path) -> Look:
    from lookkit.look import load

    if path.is_dir():
        if not (path / "recipe.toml").is_file():
            raise InputError(f"{path}: no recipe.toml in it, expected a hand-off or a recipe")
        path = path / "recipe.toml"
    return load(path)


def parameters(first: Look, second: Look) -> Iterator[Parameter]:
    """Yield what differs between two recipes, defaults filled in, in the order of the keys.

    Nodes are named by their id, or else by their kind and how often it came before.
    """
    old, new = (
        dict(_flat(one.recipe.model_dump(mode="json", by_alias=True), ""))
        for one in (first, second)
    )
    told: set[str] = set()
    for key in [*old, *(key for key in new if key not in old)]:
        if key in old and key in new:
            if old[key] != new[key]:
                yield Parameter(key, old[key], new[key])
            continue
        here, there = (old, new) if key in old else (new, old)
        table = _own_table(key, there)
        if table not in told:
            told.add(table)
            value = _value_at(table, here)
            yield Parameter(table, *((value, None) if here is old else (None, value)))


def _own_table(key: str, there: Mapping[str, Any]) -> str:
    """Return the outermost table on the way to a key of which the other side has nothing."""
    for end in [*(one.start() for one in re.finditer(r"[.\[]", key)), len(key)]:
        if end and not any(_inside(other, key[:end]) for other in there):
            return key[:end]
    return key


def _inside(key: str, table: str) -> bool:
    return key == table or key.startswith((f"{table}.", f"{table}["))


def _value_at(table: str, flat: Mapping[str, Any]) -> Any:
    """Return a value, a small table, or what names a larger one."""
    if table in flat:
        return flat[table]
    inner = {key[len(table) :].lstrip("."): flat[key] for key in flat if _inside(key, table)}
    for naming in ("kind", "encoding", "output"):
        if naming in inner:
            return inner[naming]
    return inner


def _flat(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping) and value:
        for key, inner in value.items():
            yield from _flat(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list) and value and all(isinstance(one, Mapping) for one in value):
        for label, inner in zip(_labels(value), value, strict=True):
            yield from _flat(inner, f"{path}{label}")
    elif value is not None:
        yield path, value


def _labels(tables: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    seen: dict[str, int] = {}
    for place, table in enumerate(tables, start=1):
        if table.get("id"):
            yield f".{table['id']}"
        elif "kind" in table:
            kind = str(table["kind"])
            seen[kind] = seen.get(kind, 0) + 1
            yield f"[{kind}]" if seen[kind] == 1 else f"[{kind} {seen[kind]}]"
        elif "match" in table:
            yield f"[{table['match']}]"
        else:
            yield f"[{place}]"


def files(first: Path, second: Path) -> Iterator[File]:
    """Yield the files that are not the same in two folders; manifests aside."""
    old, new = _hashes(first), _hashes(second)
    for name in sorted(old.keys() | new.keys()):
        if name not in old:
            yield File(name, "added")
        elif name not in new:
            yield File(name, "removed")
        elif old[name] != new[name]:
            yield File(name, "changed")


def _hashes(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): sha256_of(path)
        for path in folder.rglob("*")
        if path.is_file() and not path.is_symlink() and path != folder / NAME
    }


def pictures(first: Look, second: Look) -> Iterator[Pictures]:
    """Yield how far pictures differ, for what both recipes have.

    Shots whose own trims differ follow the scenes, each on the first output.
    """
    for camera in first.cameras:
        if camera not in second.cameras:
            continue
        for scene in (None, *first.scenes):
            if scene is not None and not all(_took(one, camera, scene) for one in (first, second)):
                continue
            for output in first.outputs:
                if output in second.outputs:
                    yield _compared(first, second, camera, output, (scene, scene))
    yield from _shots(first, second)


def _shots(first: Look, second: Look) -> Iterator[Pictures]:
    theirs = {(one.match, one.camera, one.scene): one for one in second.recipe.shots}
    shared = [name for name in first.outputs if name in second.outputs]
    for shot in first.recipe.shots:
        other = theirs.get((shot.match, shot.camera, shot.scene))
        same = other is not None and (other.trims, other.keys) == (shot.trims, shot.keys)
        if other is not None and not same and shared:
            named = shot.graded_in, other.graded_in
            yield _compared(first, second, shot.camera, shared[0], named)


def _took(look: Look, camera: str, scene: str) -> bool:
    return scene in look.scenes and camera in look.recipe.cameras_of(scene)


def _compared(
    first: Look,
    second: Look,
    camera: str,
    output: str,
    scenes: tuple[str | None, str | None],
) -> Pictures:
    """Compare a scene, or a shot, by what either recipe grades it in."""
    bakings = [
        Baking.of(
            look.graph.chain(camera, output, name),
            look.graph.decoding(camera, name),
            look.graph.output(output),
        )
        for look, name in zip((first, second), scenes, strict=True)
    ]
    sets = audit_sets(bakings[0].space)
    code = np.concatenate([sets[name] for name in (*PICTURES, *LIGHTS)])
    count = sum(len(sets[name]) for name in PICTURES)
    signals = [steady(one.exact)(code) for one in bakings]
    white = bakings[0].light.adapted_white
    xyz = [one.light.xyz(signal) for one, signal in zip(bakings, signals, strict=True)]
    delta = delta_e_2000(lab(xyz[0], white), lab(xyz[1], white))
    # Equal signals are equal, whatever rounding makes of their difference.
    delta[(signals[0] == signals[1]).all(axis=1) & _same(bakings[0].light, bakings[1].light)] = 0.0
    return Pictures(
        camera,
        output,
        scenes[1] or scenes[0],
        _figures(delta[:count]),
        _figures(delta[count:]),
        tuple(
            Colour(
                triple(code[row]),
                triple(signals[0][row]),
                triple(signals[1][row]),
                float(delta[row]),
                _srgb(xyz[0][row], white),
                _srgb(xyz[1][row], white),
            )
            for row in _spread_out(code, delta)
        ),
    )


def _same(one: Light, other: Light) -> bool:
    ends = np.array([[0.0, 0.0, 0.0], [0.5, 0.2, 0.7], [1.0, 1.0, 1.0]])
    return bool((one.xyz(ends) == other.xyz(ends)).all())


def _figures(delta: Array) -> Figures:
    return Figures(
        float(delta.mean(dtype=np.float64)), float(np.quantile(delta, 0.99)), float(delta.max())
    )


def _spread_out(code: Array, delta: Array) -> list[int]:
    """Return the rows that differ most, of which no two are close together."""
    kept: list[int] = []
    for row in np.argsort(-delta, kind="stable")[:5000].tolist():
        if delta[row] == 0.0 or len(kept) == _WORST:
            break
        if not kept or (np.abs(code[kept] - code[row]).max(axis=1) > _APART).all():
            kept.append(row)
    return kept


def _srgb(xyz: Array, white: Array) -> tuple[int, int, int]:
    """Return a colour for a patch on an ordinary screen; light beyond it is clipped."""
    from lookkit.spaces.outputs import output

    screen = output("sRGB")
    light = np.linalg.inv(screen.limiting.to_xyz()) @ (xyz / white[1])
    r, g, b = np.rint(255.0 * screen.encode(light)).astype(int).tolist()
    return r, g, b


def _shown(value: Any) -> str:
    return "none" if value is None else json.dumps(value, ensure_ascii=False)
