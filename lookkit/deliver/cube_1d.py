"""1D .cube files, where a chain changes each channel by itself.

That is so for a look of exposure, contrast, lift, gamma, gain and curves alone (in ACEScct), and
for a chain whose camera has the primaries that the rendering works in, with no crosstalk. Whether
it is so is measured: each channel is asked whether it changes with the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from lookkit.accuracy.truth import Exact
from lookkit.deliver import acescct
from lookkit.deliver.names import chain_stem, codes_of, look_stem, shown_look, signal_of
from lookkit.deliver.written import CURVE_DECIMALS, Job, Written
from lookkit.evaluate import evaluator
from lookkit.files import safe_name
from lookkit.lutfile.cube import write_cube_1d
from lookkit.spaces.working import Array
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

SIZE: Final = 4096
_PROBES: Final = 512
_SAME: Final = 1e-9
_CODES: Final = 1023.0


def is_per_channel(exact: Exact) -> bool:
    """Whether each channel of the result depends on that channel alone, over codes of 0-1."""
    rng = np.random.default_rng(0)
    codes = rng.random((_PROBES, 3))
    before = exact(codes)
    for channel in range(3):
        moved = rng.random((_PROBES, 3))
        moved[:, channel] = codes[:, channel]
        if np.abs(exact(moved)[:, channel] - before[:, channel]).max() > _SAME:
            return False
    return True


def write_curves(
    exact: Exact, path: Path, title: str, takes: str, gives: str, more: Sequence[str]
) -> tuple[float, str]:
    """Write a per-channel function; return its largest error between rows, and that in words."""
    table = exact(_grey(SIZE))
    between = exact(0.5 * (_grey(SIZE)[1:] + _grey(SIZE)[:-1]))
    largest = _CODES * float(np.abs(0.5 * (table[1:] + table[:-1]) - between).max())
    told = f"each channel by itself; between rows off by up to {largest:.2g} ten-bit codes"
    comments = (f"takes: {takes}", f"gives: {gives}", told, *more)
    write_cube_1d(path, table, title=title, comments=comments, decimals=CURVE_DECIMALS)
    return largest, told


def chain_job(look: Look, camera: str, output: str, scene: str | None) -> Job | None:
    """Return the job of a whole chain, or None if its channels mix."""
    chain = look.graph.chain(camera, output, scene)
    takes, gives = f"camera {camera}, {codes_of(look, camera)}", signal_of(look, output)
    place = Path("cube") / safe_name(camera) / f"{chain_stem(look, camera, output, scene)}_1d.cube"

    def exact(codes: Array) -> Array:
        return evaluator(chain)(codes)

    if not is_per_channel(exact):
        return None
    names = (camera, output, scene)
    return _job(look, exact, place, "chain", names, takes, gives)


def look_job(look: Look, scene: str | None) -> Job | None:
    """Return the job of the look in ACEScct, or None if its channels mix or it does nothing."""
    steps = (*look.graph.trims(scene), *look.graph.look(scene))
    place = Path("cube") / "look" / f"{look_stem(look, scene)}_ACEScct_1d.cube"

    def exact(codes: Array) -> Array:
        return acescct.encode(evaluator(steps)(acescct.decode(codes)))

    if not steps or not is_per_channel(exact):
        return None
    takes, gives = "ACEScct, 0-1", "ACEScct after the look"
    return _job(look, exact, place, "look-acescct", (None, None, scene), takes, gives)


def _job(
    look: Look,
    exact: Exact,
    place: Path,
    part: str,
    names: tuple[str | None, str | None, str | None],
    takes: str,
    gives: str,
) -> Job:
    def write(folder: Path) -> list[Written]:
        path = folder / place
        path.parent.mkdir(parents=True, exist_ok=True)
        more = (f"recipe: sha256 {look.recipe_hash}", f"made by: lookkit {__version__}")
        title = f"{shown_look(look, names[2])}: {takes} to {gives}"
        largest, told = write_curves(exact, path, title, takes, gives, more)
        figures = {"largest, 10-bit codes": float(f"{largest:.3g}")}
        note = f"{takes}, in; {gives}, out; a curve for each channel"
        return [Written(path, "cube", part, *names, note, figures, (told,))]

    return Job(f"cube {place.name}", write)


def _grey(count: int) -> Array:
    return np.repeat(np.linspace(0.0, 1.0, count)[:, None], 3, axis=1)
