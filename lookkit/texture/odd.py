r"""What grain does to the print's signal, without a change of its mean.

F gives the signal of a negative's densities n. With grain e the signal is

    y = F(n) + (F(n + e) - F(n - e)) / 2

e and -e are as likely, so the mean is F(n), whatever F is: that holds for a lattice of F too,
which is what both of its places in the difference are read from. A channel takes no more of it than
there is to the nearer of its ends, black and white, on either side alike: held at one of them
alone, near-whites would get darker.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lookkit.evaluate import evaluate
from lookkit.kernel import numpy_engine
from lookkit.kernel.formula import Call
from lookkit.nodes.base import Op
from lookkit.nodes.film_curve import FilmCurve
from lookkit.nodes.print_formula import NegativeNumbers, negative_print
from lookkit.texture.compiled import Planes, library, place, placed

POINTS = 33
"""Along an edge of the lattice."""
ENTRIES = 512
"""Of the table of deviations."""
_BEYOND = 0.3
"""Densities that the lattice reaches beyond the film's own: grain goes there too."""
_END = 1e-6


class Densities:
    """A lattice over the negative's densities, counted from mid-grey's.

    Parameters
    ----------
    numbers
        The print.
    after
        The steps from display light to the signal.
    """

    def __init__(self, numbers: NegativeNumbers, after: Sequence[Op]) -> None:
        film, grey = numbers.print.negative, numbers.print.negative_grey
        self.low, self.high = -grey - _BEYOND, film.full - grey + _BEYOND
        self.per = (POINTS - 1) / (self.high - self.low)
        edge = np.linspace(self.low, self.high, POINTS)
        n = np.stack(np.meshgrid(edge, edge, edge, indexing="ij"), axis=-1)
        light = np.array([exposure(film, grey, one) for one in edge]) / numbers.print.grey_light
        seen = np.stack(np.meshgrid(light, light, light, indexing="ij"), axis=-1)
        shown = numpy_engine.run((Call(negative_print, numbers, 0, 1),), n, seen)
        self.lattice = _aligned((POINTS, POINTS, POINTS, 4))
        self.lattice[..., :3] = evaluate(after, shown)
        points = self.lattice[..., :3].reshape(-1, 3)
        self.ends = np.ascontiguousarray(np.stack([points.min(0), points.max(0)], axis=-1))
        """The lowest and the highest signal of each channel, shape (3, 2)."""
        self.grey = grey

    def table(self, sigmas: Sequence[float], by_density: Sequence[tuple[float, float]]) -> Planes:
        """Return the deviations at all densities, in places of the lattice: shape (3, `ENTRIES`).

        `sigmas` are those of the layers at density 1 over the clear film.
        """
        at = np.linspace(self.low, self.high, ENTRIES) + self.grey
        share = np.interp(at, *np.array(by_density).T)
        return np.ascontiguousarray(np.outer(sigmas, share) * self.per, np.float32)

    def signal(self, density: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return F of densities over mid-grey's, shape (..., 3), as the lattice has it."""
        return self.read((np.asarray(density, np.float64) - self.low) * self.per)

    def add(
        self,
        signal: Planes,
        density: Planes,
        field: Planes,
        table: Planes,
        layers: tuple[int, int, int] = (0, 1, 2),
    ) -> None:
        """Add the grain to the signal of rows, in place.

        `table` is of `table`, times the field's unit; `layers` says which plane of the field each
        layer takes.
        """
        made = library()
        if made is None:
            self.add_by_numpy(signal, density, field[list(layers)], table)
            return
        assert signal.shape == density.shape == field.shape
        which = np.array(layers, np.int32)
        made.lookkit_texture_add(
            *placed(signal), *placed(density), field.ctypes.data,
            place(which), placed(field)[1], signal[0].size,
            place(self.lattice), POINTS, self.low, self.per, place(table), ENTRIES,
            place(self.ends),
        )  # fmt: skip

    def add_by_numpy(self, signal: Planes, density: Planes, field: Planes, table: Planes) -> None:
        """Do `add` by numpy."""
        places = (density - np.float32(self.low)) * np.float32(self.per)
        entry = places * np.float32((ENTRIES - 1) / (POINTS - 1))
        e = np.stack(
            [
                np.interp(entry[layer], np.arange(ENTRIES), table[layer]) * field[layer]
                for layer in range(3)
            ]
        )
        more, less = (self.read(np.moveaxis(one, 0, -1)) for one in (places + e, places - e))
        odd = np.moveaxis(0.5 * (more - less), -1, 0)
        least, most = self.ends.T[:, :, None, None]
        room = np.maximum(np.minimum(signal - least, most - signal), 0.0)
        signal += np.clip(odd, -room, room)

    def read(self, places: npt.NDArray[np.floating]) -> npt.NDArray[np.float64]:
        """Return F at places of the lattice, 0 to `POINTS` - 1, shape (..., 3).

        It is read by the tetrahedra that share the diagonal of a cell.
        """
        at = np.clip(np.asarray(places, np.float64), 0.0, POINTS - 1.0)
        corner = np.minimum(at.astype(np.intp), POINTS - 2)
        part = at - corner
        order = np.argsort(-part, axis=-1, kind="stable")
        falling = np.take_along_axis(part, order, axis=-1)
        weights = [1.0 - falling[..., 0], falling[..., 0] - falling[..., 1],
                   falling[..., 1] - falling[..., 2], falling[..., 2]]  # fmt: skip
        total = np.zeros(at.shape)
        for step, weight in enumerate(weights):
            if step:
                corner = corner + (np.arange(3) == order[..., step - 1 : step])
            r, g, b = np.moveaxis(corner, -1, 0)
            total += weight[..., None] * self.lattice[r, g, b, :3]
        return total


def _aligned(shape: tuple[int, ...]) -> Planes:
    """Return zeros whose place in memory is a multiple of 16 bytes."""
    count = int(np.prod(shape))
    room = np.zeros(count + 4, np.float32)
    skip = -room.ctypes.data // 4 % 4
    return room[skip : skip + count].reshape(shape)


def exposure(film: FilmCurve, grey: float, density: float) -> float:
    """Return the light, 1 at mid-grey, that gives a density over mid-grey's; held at both ends."""
    held = min(max(density + grey, _END * film.full), (1.0 - 1e-4) * film.full)
    return float(10.0 ** film.exposure(held))
