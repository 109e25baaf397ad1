"""What fitting and certifying need to know of a chain, its camera and its output."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lookkit.accuracy.audit import Audited, audit
from lookkit.accuracy.certificate import Certificate, certify
from lookkit.accuracy.interpolate import READERS
from lookkit.accuracy.samples import CodeSpace, SetName
from lookkit.accuracy.sampling import sample
from lookkit.accuracy.truth import Exact, Light, steady
from lookkit.evaluate import Runner, evaluator
from lookkit.graph import Decoding
from lookkit.lattice.fit import fit_lattice
from lookkit.nodes.base import Op
from lookkit.progress import Progress, silent
from lookkit.recipe.model import Budget
from lookkit.spaces.outputs import Output
from lookkit.spaces.working import Array


@dataclass(frozen=True)
class Baking:
    """A chain from a camera's codes to an output's signal, ready to be baked.

    Attributes
    ----------
    exact
        The chain.
    space
        The camera's encoding.
    light
        The display.
    quick
        The chain within a tenth of a ten-bit code, where that is faster: what fits and the
        search for a maximum ask. Figures are measured against `exact`.
    """

    exact: Exact
    space: CodeSpace
    light: Light
    quick: Exact | None = None

    @classmethod
    def of(cls, chain: Sequence[Op], camera: Decoding, output: Output) -> Baking:
        """Return the baking of `chain`, which begins with `camera` and ends at `output`."""
        runner = Runner(chain)
        return cls(
            evaluator(chain),
            CodeSpace(camera.inverse, camera.evaluate),
            light_of(output),
            lambda code: runner.run(code).astype(np.float64),
        )

    @cached_property
    def audited(self) -> Mapping[SetName, Audited]:
        """The audited sets with what the chain makes of them: once for all sizes and readings."""
        return audit(steady(self.exact), self.space, self.light)

    def bake(self, size: int, *, fit: bool, progress: Progress = silent) -> Array:
        """Return a lattice of `size` points: fitted, or sampled at the points."""
        if not fit:
            return sample(self.exact, size)
        how = (self.quick or self.exact, self.space, self.light, size)
        return fit_lattice(*how, audited=self.audited, progress=progress)

    def certify(self, lattice: Array, progress: Progress = silent) -> Certificate:
        """Measure a lattice that was read back from its file."""
        how = (self.exact, self.space, self.light)
        return certify(lattice, *how, audited=self.audited, quick=self.quick, progress=progress)


def light_of(output: Output) -> Light:
    """Return what a viewer sees of an output's signal."""
    to_xyz = 100.0 * output.limiting.to_xyz().T
    white = None
    if output.is_hdr:
        x, y, z = (output.reference_white / 100.0 * to_xyz.sum(axis=0)).tolist()
        white = (x, y, z)
    return Light(lambda signal: output.decode(signal) @ to_xyz, white)


def exceeded(certificate: Certificate, budget: Budget) -> list[str]:
    """Return where a certificate exceeds a budget, in words; nothing where it keeps to it.

    A graphics processor's own rounding is told, but no file can keep it to a budget.
    """
    found = []
    for reading in certificate.readings:
        if reading.reader not in READERS:
            continue
        sets = reading.sets
        for what, figure, limit in (
            ("neutral ramp, largest", sets["neutral-ramp"].delta_e_2000.max, budget.neutral_ramp),
            ("image-like, 99.9 %", sets["image-like"].delta_e_2000.p999, budget.image_like),
            ("skin, 99.9 %", sets["skin"].delta_e_2000.p999, budget.skin),
            (
                "saturated emitters, 99 %",
                sets["saturated-emitters"].delta_e_2000.p99,
                budget.saturated_emitters,
            ),
        ):
            if figure > limit:
                found.append(
                    f"{what}: Delta E 2000 {figure:.2f} read {reading.reader}, at most {limit:g}"
                )
    return found
