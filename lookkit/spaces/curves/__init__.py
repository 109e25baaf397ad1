"""Curve families between code values and linear light; constants come from tables."""

from lookkit.spaces.curves.adx import Adx
from lookkit.spaces.curves.base import LARGEST, Curve
from lookkit.spaces.curves.hdr import HlgDisplay, Pq
from lookkit.spaces.curves.log import Log
from lookkit.spaces.curves.mirrored import AcesCc, MirroredLog
from lookkit.spaces.curves.points import Points
from lookkit.spaces.curves.power import Bt1886, Linear, Power, ToePower
from lookkit.spaces.curves.pq_camera import PqCamera
from lookkit.spaces.curves.root_and_log import RootAndLog
from lookkit.spaces.curves.rooted import CubeRootLog, Hlg, SquareLog

FAMILIES: tuple[type[Curve], ...] = (
    Linear,
    Log,
    MirroredLog,
    CubeRootLog,
    SquareLog,
    RootAndLog,
    AcesCc,
    Adx,
    Power,
    ToePower,
    Hlg,
    PqCamera,
    Points,
)
"""What an encoding's `curve` may be."""

DISPLAY_FAMILIES: tuple[type[Curve], ...] = (Power, ToePower, Bt1886, Pq, HlgDisplay)
"""What an output's `curve` may be."""

__all__ = [
    "DISPLAY_FAMILIES",
    "FAMILIES",
    "LARGEST",
    "AcesCc",
    "Adx",
    "Bt1886",
    "CubeRootLog",
    "Curve",
    "Hlg",
    "HlgDisplay",
    "Linear",
    "Log",
    "MirroredLog",
    "Points",
    "Power",
    "Pq",
    "PqCamera",
    "RootAndLog",
    "SquareLog",
    "ToePower",
]
