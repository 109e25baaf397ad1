"""Hypothesis strategies that make valid nodes of every kind."""

import atexit
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import PyOpenColorIO as ocio
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from lookkit.lutfile.cube import write_cube, write_cube_1d
from lookkit.nodes import kind_name


def number(low, high):
    return st.floats(low, high, allow_nan=False)


def triple(low, high):
    return st.tuples(number(low, high), number(low, high), number(low, high))


def wheel(low, high, strength):
    return st.fixed_dictionaries(
        {"hue": number(-720, 720), "strength": number(0, strength)},
        optional={"master": number(low, high)},
    )


def channels(low, high, strength):
    return st.one_of(number(low, high), triple(low, high), wheel(low, high, strength))


def rows_near_identity():
    return hnp.arrays(np.float64, (3, 3), elements=number(-0.2, 0.2)).map(
        lambda noise: (np.eye(3) + noise).tolist()
    )


def table(**fields):
    """Any subset of the fields: what is left out must have an identity default."""
    return st.fixed_dictionaries({}, optional=fields)


@st.composite
def tone_bands(draw):
    """Bands from dark to light, so alike that they cannot fold."""
    centres = np.cumsum(draw(st.lists(number(1, 4), max_size=4))) - 6.0
    band = table(
        width=number(1.5, 3),
        exposure=number(-0.3, 0.3),
        shift=channels(-0.1, 0.1, 0.1),
        saturation=number(0.8, 1.2),
    )
    return [{"centre": float(centre), **draw(band)} for centre in centres]


def hue_band():
    return st.fixed_dictionaries(
        {"centre": number(-360, 360)},
        optional={
            "width": number(1, 300),
            "soft": number(1, 300),
            "turn": number(-90, 90),
            "saturation": number(0, 2),
            "exposure": number(-3, 3),
        },
    )


@st.composite
def rising(draw):
    """Points of a curve, in stops."""
    steps = draw(st.lists(st.tuples(number(0.5, 3), number(0.1, 1.8)), min_size=2, max_size=5))
    gaps, slopes = np.array(steps).T
    x, y = np.cumsum(gaps) - 8.0, np.cumsum(gaps * slopes) - 8.0
    return [[float(a), float(b)] for a, b in zip(x, y, strict=True)]


@cache
def lut_folder():
    """A folder with small LUT files, gone when the tests end."""
    folder = tempfile.TemporaryDirectory(prefix="lookkit-luts-")
    atexit.register(folder.cleanup)
    steps = np.linspace(0.0, 1.0, 5)
    codes = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    bent = 0.9 * codes**1.2 + 0.05 * codes[..., ::-1] + 0.02
    path = Path(folder.name)
    write_cube(path / "lattice.cube", bent, title="bent", comments=[])
    domain = ((-0.1, -0.1, -0.1), (1.5, 1.5, 1.5))
    write_cube(path / "wide.cube", bent, title="bent", comments=[], domain=domain)
    write_cube_1d(path / "curve.cube", np.linspace(0.1, 0.9, 17), title="flat", comments=[])
    group = ocio.GroupTransform([
        ocio.MatrixTransform(np.diag([0.9, 0.95, 0.9, 1.0]).ravel().tolist()),
        ocio.CDLTransform(power=[1.1, 1.0, 0.9], sat=0.9),
    ])  # fmt: skip
    group.write("Academy/ASC Common LUT Format", str(path / "grade.clf"), ocio.Config.CreateRaw())
    return path


FIELDS = {
    "exposure": table(stops=number(-6, 6)),
    "white-balance": st.one_of(
        st.fixed_dictionaries(
            {"kelvin": number(2000, 12000)}, optional={"tint": number(-0.02, 0.02)}
        ),
        st.fixed_dictionaries(
            {"light": st.sampled_from(["tungsten", "daylight", "D50", "A"])},
            optional={"camera": st.sampled_from(["D65", "daylight", 3200.0])},
        ),
        st.fixed_dictionaries({"grey": triple(0.1, 0.3)}),
        st.just({}),
    ),
    "matrix": table(matrix=rows_near_identity(), offset=triple(-0.1, 0.1)),
    "lift-gamma-gain": table(
        lift=channels(-0.1, 0.2, 0.05),
        gamma=channels(0.7, 2.0, 0.15),
        gain=channels(0.5, 2.0, 0.2),
    ),
    "cdl": table(
        slope=triple(0.5, 1.5),
        offset=triple(-0.1, 0.1),
        power=triple(0.7, 1.4),
        saturation=number(0.5, 1.5),
    ),
    "contrast": table(
        contrast=st.one_of(number(0.5, 2.0), triple(0.5, 2.0)), pivot=number(0.05, 1.0)
    ),
    "saturation": table(saturation=number(0.125, 2.0), density=number(0, 4)),
    "tone-bands": table(bands=tone_bands()),
    "hue-bands": table(bands=st.lists(hue_band(), max_size=3)),
    "curve": table(points=rising(), red=rising(), green=rising(), blue=rising()),
    "lut": st.fixed_dictionaries(
        {
            "file": st.sampled_from(["lattice.cube", "wide.cube", "curve.cube", "grade.clf"]).map(
                lambda name: str(lut_folder() / name)
            ),
            "expects": st.sampled_from(["ACEScct", "LogC4"]),
            "returns": st.sampled_from(["ACEScct", "LogC4"]),
        }
    ),
    "blend": table(
        weight=number(0.1, 4.0),
        branches=st.lists(table(weight=number(0.0, 4.0)), max_size=3).map(
            lambda branches: [{"node": "start", **branch} for branch in branches]
        ),
    ),
    "gamut-compress": table(
        limit=triple(1.05, 2.0), threshold=triple(0.3, 0.9), power=number(1.0, 2.0)
    ),
    "film-print": table(
        contrast=number(1.2, 1.4),
        black=number(3.0, 4.0),
        grey=number(0.98, 1.3),
        highlights=number(0.2, 0.27),
        shadows=number(0.2, 0.3),
        interimage=number(0, 0.8),
        overlap=number(0, 0.12),
        hold=number(0, 1),
        lights=st.one_of(number(23, 27), triple(22, 28)),
        shade=st.one_of(number(-0.2, 0.2), triple(-0.4, 0.4)),
        silver=number(0, 0.5),
        flare=number(0, 0.002),
        push=number(-0.5, 1),
    ),
    "aces-2": table(),
}
"""For every kind, tables that it must accept."""


REQUIRED = {
    "lut": {"file": "lattice.cube", "expects": "ACEScct", "returns": "ACEScct"},
}
"""Kinds that have no default for everything, and what they need at least."""


def plain(kind):
    """The node of a kind that says no more than it must."""
    fields = dict(REQUIRED.get(kind_name(kind), {}))
    if "file" in fields:
        fields["file"] = str(lut_folder() / fields["file"])
    return kind.model_validate(fields)


def nodes(kind):
    return FIELDS[kind_name(kind)].map(lambda fields: kind.model_validate(fields))


def scene(low=-6.0, high=64.0):
    """Scene values: small, large, negative and zero."""
    value = st.one_of(
        number(low, high), number(-0.05, 0.05), number(0.0, 1.0), st.sampled_from([0.0, 0.18])
    ).map(lambda x: x if abs(x) > 1e-6 else 0.0)
    return hnp.arrays(np.float64, (8, 3), elements=value)
