"""One frame of a shot, made small: its light, where that can be trusted, and its landmarks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from lookkit.balance.gains import TO_CONES
from lookkit.errors import LookkitError
from lookkit.evaluate import Runner
from lookkit.media.frame import read_frame
from lookkit.spaces.primaries import AP1

if TYPE_CHECKING:
    from lookkit.look import Look
    from lookkit.media.jobs import Taken

Plane = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

WIDTH: Final = 480
"""Pixels across: at 320 the largest errors grow by a third, at 240 by two thirds."""
DARK: Final = 0.004
"""Light under it is noise and flare: 5.5 stops under mid-grey."""
_NEAR_WHITE: Final = 0.985
_SHOULDER: Final = 0.8
"""Code above which the curve of a display-ready picture is no gain any more."""
_LANDMARKS: Final = 1500


@dataclass(frozen=True, eq=False)
class View:
    """A small frame.

    `stops` is log2 of its luminance, shape (h, w); `cones` its slightly blurred light in cones,
    (h, w, 3); `sure` where that is neither clipped nor dark; `edges` how steep its luminance is,
    in stops a pixel. `clipped` and `dark` are shares of the frame. `display_ready` says that its
    code is no light but a finished picture.
    """

    stops: Plane
    cones: Plane
    sure: Mask
    edges: Plane
    points: Plane
    features: npt.NDArray[np.float32] | None
    clipped: float
    dark: float
    display_ready: bool

    @property
    def size(self) -> tuple[int, int]:
        """Width and height."""
        return self.stops.shape[1], self.stops.shape[0]


def view_of(
    look: Look, taken: Taken, share: float = 0.5, *, width: int = WIDTH, landmarks: bool = True
) -> View:
    """Read a frame after its camera's match and the trims of its scene, before those of its shot.

    Parameters
    ----------
    share
        Of the length of a clip or a sequence.
    width
        Pixels across.
    landmarks
        Look for what can be found again in another shot.

    Raises
    ------
    LookkitError
        If it cannot be read, or OpenCV is not installed.
    """
    code = read_frame(look, taken, share, 2 * width).code
    step = look.graph.input_transform(taken.camera).encoding
    chain = (*look.graph.camera(taken.camera, taken.scene), *look.graph.trims(taken.scene))
    # A match has measured the camera's curve, its shoulder too.
    known = step.scene_linear or step.is_log or look.recipe.match_of(taken.camera, taken.scene)
    return made_view(
        np.asarray(code, np.float32),
        Runner(chain),
        display_ready=not known,
        linear=step.scene_linear,
        width=width,
        landmarks=landmarks,
    )


def made_view(
    code: Plane,
    to_light: Runner,
    *,
    display_ready: bool,
    linear: bool,
    width: int = WIDTH,
    landmarks: bool = True,
) -> View:
    """Return the view of codes, shape (height, width, 3), and what carries them to AP1."""
    cv2 = library()
    high, wide = code.shape[:2]
    width = min(width, wide)
    size = (width, max(1, round(high * width / wide)))
    code = np.ascontiguousarray(code if np.isfinite(code).all() else np.nan_to_num(code))
    clipped = _clipped(code, _SHOULDER if display_ready else np.inf if linear else _NEAR_WHITE)
    light = to_light.run(code)
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    burnt = cv2.resize(clipped.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.01
    cones = np.maximum(small @ TO_CONES.T.astype(np.float32), np.float32(1e-5))
    luminance = small @ AP1.to_xyz()[1].astype(np.float32)
    dark = _in_any(cones < DARK)
    sure = cv2.erode((~burnt & ~dark).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    stops = np.log2(np.maximum(luminance, np.float32(2e-3)))
    soft = cv2.GaussianBlur(stops, (0, 0), 2.0)
    edges = np.hypot(cv2.Sobel(soft, -1, 1, 0), cv2.Sobel(soft, -1, 0, 1))
    points, features = np.zeros((0, 2), np.float32), None
    if landmarks:
        finder = cv2.SIFT_create(_LANDMARKS, contrastThreshold=0.02)
        grey = np.clip((stops - np.median(stops)) * 22 + 128, 0, 255).astype(np.uint8)
        found, features = finder.detectAndCompute(grey, None)
        points = np.array([one.pt for one in found], np.float32).reshape(-1, 2)
    return View(
        stops=stops,
        cones=cv2.GaussianBlur(cones, (0, 0), 2.0),
        sure=sure,
        edges=edges,
        points=points,
        features=features,
        clipped=float(burnt.mean()),
        dark=float(dark.mean()),
        display_ready=display_ready,
    )


def _in_any(mask: Mask) -> Mask:
    """Return where a mask of shape (h, w, 3) holds in a channel."""
    return np.asarray(mask[..., 0] | mask[..., 1] | mask[..., 2])


def _clipped(code: Plane, top: float) -> Mask:
    """Return which pixels are at the end of what the camera records.

    A camera's log clips below the end of its codes: where many pixels share a channel's highest
    code, that is its end.
    """
    found = _in_any(code > top)
    for channel in range(3):
        plane = code[..., channel]
        highest = float(plane.max())
        at_end = plane > highest - 0.004 * max(abs(highest), 1e-6)
        if highest > 0.5 and at_end.mean() > 0.002:
            found |= at_end
    return np.asarray(found)


@cache
def library() -> Any:
    """Return OpenCV, on one thread: shots are worked on side by side.

    Raises
    ------
    LookkitError
        If it is not installed.
    """
    try:
        import cv2
    except ImportError as error:
        raise LookkitError(
            "balancing needs OpenCV: install lookkit with its extra, lookkit[balance]"
        ) from error
    cv2.setNumThreads(1)
    return cv2
