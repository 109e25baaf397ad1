"""LUT files, CLF and CDL: no value other than OpenColorIO's without a fault named."""

import tempfile
from functools import cache
from pathlib import Path

import numpy as np

from lookkit.errors import InputError
from lookkit.inspect.function import function_of, through_ocio
from lookkit.inspect.readers import TOLERANCE
from lookkit.lutfile.read import scan_lut
from tests.fuzz.mutate import mutated
from tests.lutfile.bad_cubes import BAD_CUBES
from tests.lutfile.test_arbitrary_bytes import SEEDS, check
from tests.lutfile.test_formats import good_files

NAME = "luts"
CURVE = (
    'TITLE "curve"\nLUT_1D_SIZE 5\nDOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 1 1\n'
    "0 0 0\n.2 .3 .1\n.5 .6 .4\n.8 .8 .7\n1 1 .9\n"
)
RANGED = "LUT_1D_SIZE 3\nLUT_1D_INPUT_RANGE 0 2\n0 0 0\n.5 .6 .4\n1 1 .9\n"
CDL = (
    '<?xml version="1.0"?>\n<ColorDecisionList xmlns="urn:ASC:CDL:v1.01"><ColorDecision>'
    '<ColorCorrection id="a"><SOPNode><Slope>1 1.1 .9</Slope><Offset>0 .01 0</Offset>'
    "<Power>1 1 1.2</Power></SOPNode><SatNode><Saturation>.9</Saturation></SatNode>"
    "</ColorCorrection></ColorDecision></ColorDecisionList>\n"
)


@cache
def seeds() -> dict[str, list[bytes]]:
    """The valid files by ending; a few bad ones beside them, which have ways of their own."""
    found = {ending: [text.encode()] for ending, text in SEEDS.items()}
    for name, text in good_files().items():
        found[Path(name).suffix].append(text.encode())
    found[".cube"] += [CURVE.encode(), RANGED.encode()]
    found[".cube"] += [bad.data for bad in BAD_CUBES if len(bad.data) < 4096][::6]
    found[".cdl"] = [CDL.encode()]
    return found


@cache
def _place() -> Path:
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="lookkit-", dir=memory if memory.is_dir() else None))


@cache
def _places() -> np.ndarray:
    corners = np.stack(np.meshgrid(*[[0.0, 1.0]] * 3), -1).reshape(-1, 3)
    inside = np.random.default_rng(8).random((40, 3))
    return np.concatenate([corners, inside, inside[:, :1].repeat(3, 1)])


def case(number: int) -> tuple[str, bytes]:
    """The ending and the bytes of a case."""
    endings = sorted(seeds())
    # .cube is what everybody writes by hand, so it gets more.
    ending = (*endings, ".cube", ".cube")[number % (len(endings) + 2)]
    return ending, mutated(seeds()[ending], number)


def read(number: int) -> None:
    """Read a case; raises what is a find."""
    ending, data = case(number)
    path = _place() / f"x{ending}"
    path.write_bytes(data)
    file = scan_lut(path)
    check(file)
    function = None if file.faults else function_of(file)
    if function is None:
        return
    try:
        theirs = through_ocio(path)
    except InputError:
        return
    pixels = function.over(_places()).astype(np.float32).astype(np.float64)
    ours, others = function(pixels), theirs(pixels)
    # Where the LUT is steep, the last bits of a 32-bit input count for more.
    step = 1e-6 * np.maximum(1.0, np.abs(pixels))
    steep = np.abs(function(pixels + step) - function(pixels - step)).max()
    allowed = TOLERANCE * max(1.0, float(np.abs(ours).max())) + steep
    apart = float(np.abs(ours - others).max())
    assert apart <= allowed, f"{ending}: OpenColorIO reads it {apart:.3g} otherwise"
