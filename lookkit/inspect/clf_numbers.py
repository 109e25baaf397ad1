"""A Common LUT Format file as colour-clf-io parses it, put through the standard's formulas.

colour-clf-io parses a file into its numbers; what it makes of pixels is sound for single
colours and operations without a lattice alone (its 0.2.0 looks a lattice up at indices instead of
at 0-1), so the formulas of the standard are written out here, in float64. Neither the parser nor
the arithmetic is OpenColorIO's.

It opens the file itself, as for anybody. It knows the namespace of Academy S-2014-006 alone, and
refuses that of SMPTE ST 2136-1.

Sources: Academy S-2014-006 (CLF version 3), SMPTE ST 2136-1, the sections on each process node.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]

_LEAST: Final = float(np.finfo(np.float32).tiny)
_LUMA: Final = np.array([0.2126, 0.7152, 0.0722])
_FLOATS: Final = ("16f", "32f")


def apply_clf(path: Path, pixels: Values) -> Values:
    """Return what a file makes of pixels, shape (n, 3); lattices are read as the file says.

    Raises
    ------
    ValueError
        If the file is no CLF, or has integer bit depths, which are not worked out here.
    """
    import colour_clf_io

    parsed = colour_clf_io.read_clf_from_file(str(path))
    if parsed is None:
        raise ValueError("no process list")
    out = np.asarray(pixels, dtype=np.float64)
    for node in parsed.process_nodes:
        depths = (node.in_bit_depth.value, node.out_bit_depth.value)
        if any(depth not in _FLOATS for depth in depths):
            raise ValueError(f"bit depths {depths[0]} to {depths[1]} are not worked out here")
        out = _NODES[type(node).__name__](node, out)
    return out


def _matrix(node: Any, rgb: Values) -> Values:
    table = node.array.as_array()
    offset = table[:, 3] if table.shape[1] == 4 else 0.0
    return np.asarray(rgb @ table[:, :3].T + offset)


def _lut1d(node: Any, rgb: Values) -> Values:
    table = np.asarray(node.array.as_array(), dtype=np.float64)
    if node.raw_halfs:
        table = table.astype(np.uint16).view(np.float16).astype(np.float64)
    columns = table.reshape(len(table), -1)
    out = np.empty(rgb.shape)
    rows = np.linspace(0.0, 1.0, len(columns))
    for channel in range(3):
        column = columns[:, min(channel, columns.shape[1] - 1)]
        read = _half if node.half_domain else lambda x, col: np.interp(x, rows, col)
        out[..., channel] = read(rgb[..., channel], column)
    return out


def _half(x: Values, column: Values) -> Values:
    """Read a table that has an entry for each 16-bit float, linearly between two of them."""
    held = np.clip(x, -65504.0, 65504.0)
    near = held.astype(np.float16)
    towards = np.where(held > near, np.float16(np.inf), np.float16(-np.inf)).astype(np.float16)
    other = np.nextafter(near, towards)
    other = np.clip(other, np.float16(-65504), np.float16(65504)).astype(np.float16)
    gap = other.astype(np.float64) - near
    share = np.where(gap == 0.0, 0.0, (held - near) / np.where(gap == 0.0, 1.0, gap))
    first, second = column[near.view(np.uint16)], column[other.view(np.uint16)]
    return np.asarray(np.where(share == 0.0, first, first + share * (second - first)))


def _lut3d(node: Any, rgb: Values) -> Values:
    from lookkit.accuracy.interpolate import interpolate

    if node.half_domain or node.raw_halfs:
        raise ValueError("a lattice of 16-bit floats")
    named = None if node.interpolation is None else node.interpolation.value
    table = np.asarray(node.array.as_array(), dtype=np.float64)
    return interpolate(table, rgb, "tetrahedral" if named == "tetrahedral" else "trilinear")


def _range(node: Any, rgb: Values) -> Values:
    low, high = node.min_in_value, node.max_in_value
    least, most = node.min_out_value, node.max_out_value
    out = rgb
    if None not in (low, high, least, most):
        scale = (most - least) / (high - low)
        out = rgb * scale + (least - low * scale)
    elif low is not None:
        out = rgb + (least - low)
    elif high is not None:
        out = rgb + (most - high)
    if node.style is not None and node.style.value == "noClamp":
        return out
    return np.clip(out, -np.inf if least is None else least, np.inf if most is None else most)


def _by_channel(
    params: Sequence[Any], rgb: Values, formula: Callable[[Any, Values], Values]
) -> Values:
    out = np.array(rgb)
    for one in params or [None]:
        if one is None or one.channel is None:
            out = formula(one, rgb)
        else:
            channel = "RGB".index(one.channel.value)
            out[..., channel] = formula(one, rgb[..., channel])
    return out


def _log(node: Any, rgb: Values) -> Values:
    style = node.style.value
    return _by_channel(node.log_params or [], rgb, lambda one, x: _log_channel(style, one, x))


def _log_channel(style: str, one: Any, x: Values) -> Values:
    if style in ("log10", "log2"):
        return np.asarray((np.log10 if style == "log10" else np.log2)(np.maximum(x, _LEAST)))
    if style in ("antiLog10", "antiLog2"):
        return np.asarray((10.0 if style == "antiLog10" else 2.0) ** x)

    def given(name: str, default: float) -> float:
        value = getattr(one, name, None)
        return default if value is None else float(value)

    base = given("base", 2.0)
    slope, offset = given("log_side_slope", 1.0), given("log_side_offset", 0.0)
    lin_slope, lin_offset = given("lin_side_slope", 1.0), given("lin_side_offset", 0.0)

    def log_side(value: Any) -> Values:
        inside = np.maximum(lin_slope * value + lin_offset, _LEAST)
        return np.asarray(slope * np.log(inside) / np.log(base) + offset)

    def lin_side(value: Values) -> Values:
        return np.asarray((base ** ((value - offset) / slope) - lin_offset) / lin_slope)

    if style == "linToLog":
        return log_side(x)
    if style == "logToLin":
        return lin_side(x)
    at = given("lin_side_break", float("nan"))
    if np.isnan(at):
        raise ValueError(f"style {style} without linSideBreak")
    steep = slope * lin_slope / ((lin_slope * at + lin_offset) * np.log(base))
    linear = given("linear_slope", steep)
    shift = float(log_side(at)) - linear * at
    if style == "cameraLinToLog":
        return np.asarray(np.where(x <= at, linear * x + shift, log_side(x)))
    return np.asarray(np.where(x <= float(log_side(at)), (x - shift) / linear, lin_side(x)))


def _exponent(node: Any, rgb: Values) -> Values:
    style = node.style.value
    return _by_channel(node.exponent_params, rgb, lambda one, x: _power(style, one, x))


def _power(style: str, one: Any, x: Values) -> Values:
    gamma, offset = float(one.exponent), float(one.offset or 0.0)
    forward, mirrored = style.endswith("Fwd"), "Mirror" in style
    value = np.abs(x) if mirrored else x
    if style.startswith("basic"):
        out = np.maximum(value, 0.0) ** (gamma if forward else 1.0 / gamma)
        out = np.where(x < 0.0, x, out) if "PassThru" in style else out
    else:
        out = _monitor(gamma, offset, value, forward)
    return np.asarray(np.sign(x) * out if mirrored else out)


def _monitor(gamma: float, offset: float, x: Values, forward: bool) -> Values:
    at = offset / (gamma - 1.0)
    signal = (gamma * offset / ((gamma - 1.0) * (1.0 + offset))) ** gamma
    toe = signal / at
    if forward:
        curved = np.maximum((x + offset) / (1.0 + offset), 0.0) ** gamma
        return np.asarray(np.where(x >= at, curved, x * toe))
    curved = (1.0 + offset) * np.maximum(x, 0.0) ** (1.0 / gamma) - offset
    return np.asarray(np.where(x >= signal, curved, x / toe))


def _cdl(node: Any, rgb: Values) -> Values:
    sop, sat = node.sopnode, node.sat_node
    slope = np.ones(3) if sop is None else np.array(sop.slope)
    offset = np.zeros(3) if sop is None else np.array(sop.offset)
    power = np.ones(3) if sop is None else np.array(sop.power)
    amount = 1.0 if sat is None else float(sat.saturation)
    style = "Fwd" if node.style is None else node.style.value
    held = not style.endswith("NoClamp")

    def clamp(x: Values) -> Values:
        return np.clip(x, 0.0, 1.0) if held else x

    def saturated(x: Values, by: float) -> Values:
        luma = (x @ _LUMA)[..., None]
        return clamp(luma + by * (x - luma))

    def raised(x: Values, by: Values) -> Values:
        return np.asarray(np.where(x < 0.0, x, np.abs(x) ** by))

    if style.startswith("Fwd"):
        return saturated(raised(clamp(rgb * slope + offset), power), amount)
    return clamp((raised(saturated(clamp(rgb), 1.0 / amount), 1.0 / power) - offset) / slope)


_NODES: Final[dict[str, Callable[[Any, Values], Values]]] = {
    "Matrix": _matrix,
    "LUT1D": _lut1d,
    "LUT3D": _lut3d,
    "Range": _range,
    "Log": _log,
    "Exponent": _exponent,
    "ASC_CDL": _cdl,
}
