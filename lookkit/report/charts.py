"""What a look does, drawn for a page: tone, drift of neutrals, and where colours land."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lookkit.accuracy.difference import lab
from lookkit.evaluate import evaluate
from lookkit.plotting import dress, figure
from lookkit.report.html import INK, LINES, QUIET, STAND_INS
from lookkit.report.shown import seen
from lookkit.report.stops import HIGHEST, LOWEST, landing
from lookkit.spaces.observer import MATCHING_FUNCTIONS, WAVELENGTHS
from lookkit.spaces.primaries import AP1, BT709, P3_D65, Primaries
from lookkit.spaces.working import MID_GREY, Array

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.spaces.outputs import Output

DASHES: Final[tuple[Any, ...]] = (
    "solid", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (8, 3)), (0, (3, 1.5)),
)  # fmt: skip
"""Lines differ by dash as well as by colour: for print, and for eyes that see few colours."""
LAMPS: Final = (
    ("deep red", 660.0), ("red", 630.0), ("amber", 592.0), ("lime", 565.0), ("green", 525.0),
    ("cyan", 500.0), ("blue", 470.0), ("royal blue", 450.0),
)  # fmt: skip
"""Peak wavelengths of usual LEDs in nanometres (common practice, no source)."""
LAMP_WIDTH: Final = 20.0
"""Full width of an LED's band at half its height, in nanometres (common practice, no source)."""
LAMP_STOPS: Final = (0.0, 2.0, 4.0)
"""Where the brightest channel of a lamp is put, in stops from mid-grey."""

_STEP = 0.125
_LOW_LIGHT = 0.001


@dataclass(frozen=True)
class Lamp:
    """A narrow-band lamp: CIE 1976 u', v' of its light, and of what is shown at each level."""

    name: str
    light: tuple[float, float]
    shown: tuple[tuple[float, float], ...]
    colour: str
    """What is shown at the lowest level, in sRGB."""


def axes(width: float, height: float) -> tuple[Any, Any]:
    """Return a figure and its one plot, in the colours of a page."""
    drawing, (axis,) = figure(1, width=width, height=height)
    dress(axis, STAND_INS)
    axis.tick_params(which="both", labelsize=9)
    return drawing, axis


def key(axis: Any, **placed: Any) -> None:
    """Add what the lines are."""
    made = axis.legend(fontsize=9, frameon=False, labelcolor=INK, handlelength=3.2, **placed)
    made.set_zorder(5)


def neutral_codes(look: Look, camera: str) -> tuple[Array, Array, float | None]:
    """Return stops, (n,), a camera's codes of neutral light there, (n, 3), and where it ends."""
    step = look.graph.decoding(camera)
    end: float | None = None
    if not step.scene_linear:
        end = float(np.log2(step.evaluate(np.ones((1, 3))).max() / MID_GREY))
    stops = np.arange(LOWEST, HIGHEST if end is None else end, _STEP)
    if end is not None:
        stops = np.append(stops, end)
    light = MID_GREY * np.exp2(stops)[:, None].repeat(3, axis=1)
    return stops, step.inverse(light), end


def tone_figures(look: Look, output: str) -> tuple[Any, Any]:
    """Return two charts of neutral light in stops: percent of signal, and cd/m2."""
    signals, one = axes(5.6, 3.9)
    lights, two = axes(5.6, 3.9)
    for number, camera in enumerate(look.cameras):
        stops, codes, end = neutral_codes(look, camera)
        percent, light = landing(look, camera, output, codes)
        style = {"color": LINES[number % 6], "linestyle": DASHES[number % 6], "linewidth": 1.8}
        one.plot(stops, percent, label=f"camera {camera}", **style)
        two.semilogy(stops, np.maximum(light, _LOW_LIGHT), label=f"camera {camera}", **style)
        if end is not None:
            for axis, value in ((one, percent[-1]), (two, light[-1])):
                axis.plot([end], [value], "|", color=LINES[number % 6], markersize=14,
                          markeredgewidth=2)  # fmt: skip
    target = look.graph.output(output)
    one.set_ylabel("percent of signal")
    two.set_ylabel("cd/m2")
    if target.is_hdr:
        two.axhline(target.reference_white, color=QUIET, linewidth=0.8)
        two.annotate("paper white", (LOWEST, target.reference_white), color=QUIET, fontsize=8,
                     xytext=(2, 2), textcoords="offset points")  # fmt: skip
    from matplotlib.ticker import FuncFormatter

    two.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    for axis in (one, two):
        _stops_below(axis)
        axis.set_xlabel("stops from mid-grey (upright stroke: the encoding ends)")
        axis.axvline(0.0, color=QUIET, linewidth=0.9)
        key(axis, loc="upper left")
    return signals, lights


def _stops_below(axis: Any) -> None:
    from matplotlib.ticker import MultipleLocator

    axis.xaxis.set_major_locator(MultipleLocator(2.0))
    axis.xaxis.set_major_formatter(lambda value, _: f"{value:+.0f}" if value else "0")


def drift(look: Look, camera: str, output: str) -> tuple[Array, Array]:
    """Return stops, (n,), and L*a*b* of what neutral light becomes, (n, 3).

    Seen against the output's paper white.
    """
    stops, codes, _ = neutral_codes(look, camera)
    target = look.graph.output(output)
    signal = evaluate(look.graph.chain(camera, output), codes)
    to_xyz = target.limiting.to_xyz()
    white = target.reference_white / 100.0 * to_xyz.sum(axis=1)
    return stops, lab(target.decode(signal) @ to_xyz.T, white)


def drift_figure(look: Look, output: str) -> Any:
    """Return a chart of the tint of neutrals: a* and b* over stops, by camera."""
    drawing, axis = axes(11.4, 3.4)
    reach = 1.0
    for number, camera in enumerate(look.cameras):
        stops, found = drift(look, camera, output)
        colour = LINES[number % 6]
        axis.plot(stops, found[:, 2], color=colour, linewidth=1.8, label=f"{camera}: b*")
        axis.plot(stops, found[:, 1], color=colour, linewidth=1.8, linestyle=(0, (2, 1.5)),
                  label=f"{camera}: a*")  # fmt: skip
        reach = max(reach, float(np.abs(found[:, 1:]).max()))
    axis.set_ylim(-1.15 * reach, 1.15 * reach)
    axis.axhline(0.0, color=QUIET, linewidth=0.9)
    axis.axvline(0.0, color=QUIET, linewidth=0.9)
    axis.set_xlabel("stops from mid-grey")
    _stops_below(axis)
    axis.set_ylabel("tint")
    for y, text, side in ((0.97, "yellower (b*), redder (a*)", "top"),
                          (0.03, "bluer (b*), greener (a*)", "bottom")):  # fmt: skip
        axis.text(0.995, y, text, transform=axis.transAxes, ha="right", va=side, fontsize=9,
                  color=QUIET)  # fmt: skip
    key(axis, loc="upper left", ncols=3)
    return drawing


def uv(xyz: Array) -> Array:
    """Return CIE 1976 u', v' of XYZ, shape (..., 3) to (..., 2) (ISO/CIE 11664-5)."""
    total = xyz @ np.array([1.0, 15.0, 3.0])
    return np.stack([4.0 * xyz[..., 0] / total, 9.0 * xyz[..., 1] / total], axis=-1)


def uv_of(gamut: Primaries) -> Array:
    """Return u', v' of red, green and blue, shape (3, 2)."""
    xy = np.array([gamut.red, gamut.green, gamut.blue])
    return uv(np.c_[xy, 1.0 - xy.sum(axis=1)])


def lamp_light(peak: float) -> Array:
    """Return XYZ, Y = 1, of a narrow-band lamp: a bell curve over wavelength."""
    sigma = LAMP_WIDTH / (2.0 * np.sqrt(2.0 * np.log(2.0)))
    xyz = np.exp(-0.5 * ((WAVELENGTHS - peak) / sigma) ** 2) @ MATCHING_FUNCTIONS
    return np.asarray(xyz / xyz[1])


def lamps(look: Look, camera: str, output: str) -> list[Lamp]:
    """Return where the light of each of `LAMPS` lands, as a perfect camera would record it.

    The encoding is the camera's own, so what it cannot hold is lost; its sensitivities
    are not known here.
    """
    step = look.graph.decoding(camera)
    target = look.graph.output(output)
    chain = look.graph.chain(camera, output)
    found = []
    for name, peak in LAMPS:
        xyz = lamp_light(peak)
        scene = np.linalg.solve(AP1.to_xyz(), xyz)
        levels = MID_GREY * np.exp2(np.array(LAMP_STOPS))
        codes = step.inverse(scene / scene.max() * levels[:, None])
        if not step.scene_linear:
            codes = np.clip(codes, 0.0, 1.0)
        signal = evaluate(chain, codes)
        shown = uv(np.maximum(target.decode(signal), 0.0) @ target.limiting.to_xyz().T)
        red, green, blue = seen(target, signal[:1])[0].tolist()
        light = uv(xyz)
        found.append(
            Lamp(
                name,
                (float(light[0]), float(light[1])),
                tuple((float(u), float(v)) for u, v in shown),
                f"#{red:02x}{green:02x}{blue:02x}",
            )
        )
    return found


def chromaticity_axes(target: Output, width: float = 5.6, height: float = 5.4) -> tuple[Any, Any]:
    """Return a u'v' plot with the spectrum's edge and Rec.709, P3 and AP1."""
    drawing, axis = axes(width, height)
    axis.set_aspect("equal")
    axis.set_xlim(-0.04, 0.68)
    axis.set_ylim(-0.02, 0.63)
    axis.set_xlabel("u'")
    axis.set_ylabel("v'")
    seen_part = (WAVELENGTHS >= 400) & (WAVELENGTHS <= 700)
    edge = uv(MATCHING_FUNCTIONS[seen_part])
    axis.plot(*np.append(edge, edge[:1], axis=0).T, color=QUIET, linewidth=0.8)
    drawn: list[tuple[Primaries, str, Any]] = [
        (BT709, "Rec.709", DASHES[0]), (P3_D65, "P3", DASHES[1]), (AP1, "AP1", DASHES[2]),
    ]  # fmt: skip
    own = uv_of(target.limiting)
    if not any(np.array_equal(own, uv_of(gamut)) for gamut, _, _ in drawn):
        drawn.append((target.limiting, target.limiting.name, DASHES[3]))
    for gamut, text, dash in drawn:
        corners = uv_of(gamut)
        chosen = np.array_equal(corners, own)
        axis.plot(*np.append(corners, corners[:1], axis=0).T, color=INK if chosen else QUIET,
                  linestyle=dash, linewidth=1.8 if chosen else 1.0, label=text)  # fmt: skip
    white = np.array(target.limiting.white)
    axis.plot(*uv(np.array([*white, 1.0 - white.sum()])), "+", color=INK, markersize=8)
    key(axis, loc="lower right", title=None)
    return drawing, axis


def lamps_figure(look: Look, camera: str, output: str) -> Any:
    """Return a chromaticity chart: from each lamp's light to where it is shown."""
    drawing, axis = chromaticity_axes(look.graph.output(output))
    for lamp in lamps(look, camera, output):
        path = np.array([lamp.light, *lamp.shown])
        axis.plot(path[:, 0], path[:, 1], color=INK, linewidth=0.9)
        axis.plot(*path[0], "o", markerfacecolor="none", markeredgecolor=INK, markersize=7)
        for place, size in zip(path[1:], (9, 6.5, 4.5), strict=True):
            axis.plot(*place, "o", markerfacecolor=lamp.colour, markeredgecolor=INK,
                      markeredgewidth=0.7, markersize=size)  # fmt: skip
        out = path[0] - np.array([0.2, 0.47])
        ha = "left" if out[0] > 0 else "right"
        axis.annotate(lamp.name, path[0], fontsize=10, color=INK, ha=ha,
                      va="bottom" if out[1] > 0 else "top",
                      xytext=(5 if ha == "left" else -5, 4 if out[1] > 0 else -4),
                      textcoords="offset points")  # fmt: skip
    return drawing
