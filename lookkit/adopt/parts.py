"""What a fitted recipe may be made of: each part's numbers, their usual sizes, and its nodes.

A number's `usual` is how far it commonly lies from `plain`; it is the unit in which a fit moves,
and what the fit's leaning towards plain values is counted in (our own choice, from the looks that
come with lookkit).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from lookkit.nodes.base import Node
from lookkit.nodes.cdl import Cdl
from lookkit.nodes.exposure import Exposure
from lookkit.nodes.film_print import FilmPrint
from lookkit.nodes.gamut_compress import GamutCompress
from lookkit.nodes.hue_bands import HueBands
from lookkit.nodes.matrix import MatrixNode
from lookkit.nodes.saturation import Saturation
from lookkit.nodes.tone_bands import ToneBands

HUES: Final = tuple(range(20, 360, 45))
STOPS: Final = (-7.0, -4.0, -1.5, 1.0, 3.5, 6.5)
_BAND_WIDTH: Final = 45.0
_TONE_WIDTH: Final = 1.8
_LIGHTS: Final = {"stops": {"from": 0.0, "soft": 4.0}}


class Number(NamedTuple):
    """One number of a part."""

    name: str
    plain: float
    usual: float
    least: float
    most: float


@dataclass(frozen=True)
class Part:
    """A group of numbers that a fit adds or takes away together.

    Attributes
    ----------
    step
        The step of the recipe that it belongs to: `STEPS`, or "rendering".
    says
        What it stands for, for the recipe's comment.
    """

    name: str
    step: str
    says: str
    numbers: tuple[Number, ...]


def _print_part(name: str, says: str, *numbers: Number) -> Part:
    return Part(name, "rendering", says, numbers)


FILM: Final = (
    _print_part(
        "tone", "slope, black, grey and both ends of the tone curve",
        Number("contrast", 1.34, 0.15, 1.0, 1.8), Number("black", 3.6, 0.4, 2.2, 4.5),
        Number("grey", 1.0, 0.12, 0.7, 1.5), Number("highlights", 0.275, 0.06, 0.12, 0.45),
        Number("shadows", 0.25, 0.1, 0.08, 0.6),
    ),
    _print_part(
        "lights", "the tint of middle and lights",
        *(Number(f"lights.{one}", 25.0, 1.5, 13.0, 37.0) for one in range(3)),
    ),
    _print_part(
        "shade", "the tint of black",
        *(Number(f"shade.{one}", 0.0, 0.12, -0.8, 0.8) for one in range(3)),
    ),
    _print_part("flare", "lifted black", Number("flare", 0.0, 0.003, 0.0, 0.02)),
    _print_part("interimage", "how far colours part", Number("interimage", 0.5, 0.25, 0.0, 1.0)),
    _print_part("overlap", "how dense deep colours are", Number("overlap", 0.03, 0.06, 0.0, 0.25)),
    _print_part("hold", "how far lights keep their hue", Number("hold", 0.92, 0.2, 0.0, 1.0)),
    _print_part("silver", "muted, dense colour", Number("silver", 0.0, 0.1, 0.0, 1.0)),
)  # fmt: skip
"""The parts of a film print."""

FILTER: Final = _print_part(
    "filter", "what a red, a green and a blue light count in black and white",
    Number("filter.0", 0.35, 0.3, 0.0, 3.0), Number("filter.1", 0.55, 0.3, 0.0, 3.0),
    Number("filter.2", 0.1, 0.3, 0.0, 3.0),
)  # fmt: skip

EXPOSURE: Final = Part(
    "exposure", "exposure", "brighter or darker before all", (Number("stops", 0.0, 1.0, -6.0, 6.0),)
)
CDL: Final = Part(
    "cdl", "cdl", "white and tone of each channel",
    tuple(Number(f"{name}.{one}", plain, usual, least, most)
          for name, plain, usual, least, most in (
              ("slope", 1.0, 0.1, 0.3, 3.0), ("offset", 0.0, 0.03, -0.4, 0.4),
              ("power", 1.0, 0.1, 0.3, 3.0))
          for one in range(3)),
)  # fmt: skip
MATRIX: Final = Part(
    "matrix", "matrix", "channels mixed, neutrals kept",
    tuple(Number(f"matrix.{row}.{one}", 0.0, 0.08, -1.0, 1.0)
          for row in range(3) for one in range(3) if one != row),
)  # fmt: skip
SATURATION: Final = Part(
    "saturation", "saturation", "colour as a whole",
    (Number("saturation", 1.0, 0.2, 0.0, 4.0), Number("density", 0.0, 0.3, 0.0, 4.0)),
)  # fmt: skip
COMPRESS: Final = Part(
    "gamut-compress", "gamut-compress", "pure colours brought in",
    (*(Number(f"limit.{one}", 1.25, 0.15, 1.01, 3.0) for one in range(3)),
     *(Number(f"threshold.{one}", 0.8, 0.15, 0.05, 0.99) for one in range(3))),
)  # fmt: skip


def _hue_parts(step: str, where: str) -> tuple[Part, ...]:
    return tuple(
        Part(f"{step} {hue}", step, f"hues around {hue}{where}", (
            Number(f"{hue}.turn", 0.0, 12.0, -18.0, 18.0),
            Number(f"{hue}.saturation", 1.0, 0.25, 0.0, 4.0),
            Number(f"{hue}.exposure", 0.0, 0.3, -4.0, 4.0),
        ))
        for hue in HUES
    )  # fmt: skip


HUE_BANDS: Final = _hue_parts("hue-bands", "")
LIT_BANDS: Final = _hue_parts("hue-bands in lights", " in lights")
TONE: Final = Part(
    "tone-bands", "tone-bands", "tone that one curve does not have",
    tuple(Number(f"{stop}.exposure", 0.0, 0.6, -6.0, 6.0) for stop in STOPS),
)  # fmt: skip
TINT: Final = Part(
    "tone-bands, tint", "tone-bands", "tints of shadows, middle and lights",
    tuple(Number(f"{stop}.{which}", 0.0, 0.1, -2.0, 2.0)
          for stop in STOPS for which in ("warm", "green")),
)  # fmt: skip
DEPTH: Final = Part(
    "tone-bands, saturation", "tone-bands", "colour of shadows, middle and lights",
    tuple(Number(f"{stop}.saturation", 1.0, 0.15, 0.0, 4.0) for stop in STOPS),
)  # fmt: skip

_KINDS: Final[Mapping[str, type[Node]]] = {
    "exposure": Exposure, "cdl": Cdl, "matrix": MatrixNode, "saturation": Saturation,
    "gamut-compress": GamutCompress, "hue-bands": HueBands, "tone-bands": ToneBands,
}  # fmt: skip

_TRIPLES: Final[Mapping[str, tuple[str, ...]]] = {
    "cdl": ("slope", "offset", "power"), "gamut-compress": ("limit", "threshold"),
}  # fmt: skip

STEPS: Final = (
    "exposure", "cdl", "matrix", "hue-bands", "tone-bands", "hue-bands in lights", "saturation",
    "gamut-compress",
)  # fmt: skip
"""The steps of a fitted look, in the order of the recipe."""

Values = Mapping[str, Mapping[str, float]]
"""The numbers of each step, by the step's name and the number's."""


def _triple(values: Mapping[str, float], name: str) -> tuple[float, float, float]:
    return values[f"{name}.0"], values[f"{name}.1"], values[f"{name}.2"]


def step_table(step: str, values: Mapping[str, float], digits: Mapping[str, int]) -> dict[str, Any]:
    """Return a step as the table that a recipe holds.

    Parameters
    ----------
    values
        Those of its numbers that differ from plain ones, or all.
    digits
        Decimals of each number; those that are not there keep all.
    """
    said = {name: round(v, digits[name]) if name in digits else v for name, v in values.items()}
    if step == "exposure":
        return {"kind": "exposure", "stops": said["stops"]}
    if step == "saturation":
        return {"kind": "saturation", **said}
    if step == "matrix":
        return {"kind": "matrix", "matrix": _matrix(said, max(digits.values(), default=15))}
    if step in _TRIPLES:
        return {"kind": step, **{name: list(_triple(said, name)) for name in _TRIPLES[step]}}
    if step.startswith("hue-bands"):
        table: dict[str, Any] = {"kind": "hue-bands", "bands": _hue_rows(said)}
        return table if step == "hue-bands" else {**table, "only": _LIGHTS}
    return {"kind": "tone-bands", "bands": _tone_rows(said, digits)}


def _matrix(said: Mapping[str, float], digits: int) -> list[list[float]]:
    rows = [[said.get(f"matrix.{row}.{one}", 0.0) for one in range(3)] for row in range(3)]
    for row in range(3):
        rows[row][row] = round(1.0 - sum(rows[row]), digits)
    return rows


def _hue_rows(said: Mapping[str, float]) -> list[dict[str, float]]:
    rows = []
    for hue in HUES:
        own = {name.partition(".")[2]: value for name, value in said.items()
               if name.partition(".")[0] == str(hue)}  # fmt: skip
        if own:
            rows.append({"centre": hue, "width": _BAND_WIDTH, "soft": _BAND_WIDTH, **own})
    return rows


def _tone_rows(said: Mapping[str, float], digits: Mapping[str, int]) -> list[dict[str, Any]]:
    rows = []
    for stop in STOPS:
        row: dict[str, Any] = {"centre": stop, "width": _TONE_WIDTH}
        if exposure := said.get(f"{stop}.exposure"):
            row["exposure"] = exposure
        warm, green = (said.get(f"{stop}.{name}", 0.0) for name in ("warm", "green"))
        if warm or green:
            # Warm takes from blue what it gives to red; green takes half from each of the others.
            decimals = max(digits.get(f"{stop}.{one}", 15) for one in ("warm", "green")) + 1
            shift = warm - 0.5 * green, green, -warm - 0.5 * green
            row["shift"] = [round(one, min(decimals, 15)) for one in shift]
        saturation = said.get(f"{stop}.saturation", 1.0)
        if saturation != 1.0:
            row["saturation"] = saturation
        rows.append(row)
    return rows


def node_of(table: Mapping[str, Any]) -> Node:
    """Return the node that a table stands for; pydantic refuses what a recipe may not hold."""
    return _KINDS[table["kind"]].model_validate(table)


def print_table(values: Mapping[str, float], digits: Mapping[str, int]) -> dict[str, Any]:
    """Return a film print as the table that a recipe holds."""
    said = {name: round(v, digits[name]) if name in digits else v for name, v in values.items()}
    table: dict[str, Any] = {"kind": "film-print"}
    for name, value in said.items():
        if "." not in name:
            table[name] = value
    for name in ("lights", "shade", "filter"):
        if f"{name}.0" in said:
            table[name] = list(_triple(said, name))
    return table


def film_of(values: Mapping[str, float]) -> FilmPrint:
    """Return the film print of some numbers; pydantic refuses what no film could meet."""
    return FilmPrint.model_validate(print_table(values, {}))


def numbers_of(parts: Sequence[Part]) -> list[tuple[Part, Number]]:
    """Return all numbers of some parts, in order."""
    return [(part, number) for part in parts for number in part.numbers]
