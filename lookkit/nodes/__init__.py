"""All node kinds, in one explicit list."""

from __future__ import annotations

from lookkit.nodes.aces_2 import Aces2
from lookkit.nodes.base import Node, Step
from lookkit.nodes.blend import Blend
from lookkit.nodes.cdl import Cdl
from lookkit.nodes.contrast import Contrast
from lookkit.nodes.curve import Curve
from lookkit.nodes.exposure import Exposure
from lookkit.nodes.film_print import FilmPrint
from lookkit.nodes.gamut_compress import GamutCompress
from lookkit.nodes.hue_bands import HueBands
from lookkit.nodes.lift_gamma_gain import LiftGammaGain
from lookkit.nodes.lut import Lut
from lookkit.nodes.matrix import MatrixNode
from lookkit.nodes.rendering import Rendering
from lookkit.nodes.saturation import Saturation
from lookkit.nodes.tone_bands import ToneBands
from lookkit.nodes.white_balance import WhiteBalance

LOOK_KINDS: tuple[type[Node], ...] = (
    Exposure,
    WhiteBalance,
    MatrixNode,
    LiftGammaGain,
    Cdl,
    Contrast,
    Saturation,
    ToneBands,
    HueBands,
    Curve,
    Lut,
    GamutCompress,
    Blend,
)
RENDERING_KINDS: tuple[type[Rendering], ...] = (FilmPrint, Aces2)
KINDS: tuple[type[Step], ...] = (*LOOK_KINDS, *RENDERING_KINDS)


def kind_name(kind: type[Step]) -> str:
    """Return the name by which recipes call a node kind."""
    return str(kind.model_fields["kind"].default)
