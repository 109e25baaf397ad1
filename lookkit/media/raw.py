"""Camera raw stills, developed to scene-linear light through LibRaw."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lookkit.errors import InputError
from lookkit.spaces.primaries import AP1, BT709, between
from lookkit.spaces.working import Array


def read_raw(path: Path) -> Array:
    """Develop a raw still.

    Black is subtracted, the camera's own white balance applied, the mosaic interpolated
    and the camera's matrix to linear BT.709 followed by one to AP1 (D65 to D60, CAT02).
    There is no tone curve and no brightening.

    Returns
    -------
    array of shape (height, width, 3)
        Scene-linear AP1, upright; 1.0 is where the sensor clips, so mid-grey lies where the
        exposure put it. Saturated colours may be negative.

    Raises
    ------
    InputError
        If rawpy is not installed, the file cannot be read, or the camera's colours are
        unknown.
    """
    try:
        import rawpy
    except ImportError as error:
        raise InputError(
            f"{path}: raw stills need rawpy, which is not installed: pip install 'lookkit[raw]'"
        ) from error
    if not path.is_file():
        raise InputError(f"{path}: {'is not a file' if path.exists() else 'does not exist'}")
    try:
        with rawpy.imread(str(path)) as raw:
            matrix = np.asarray(raw.color_matrix, dtype=np.float64)[:, :3]
            camera = raw.postprocess(
                output_color=rawpy.ColorSpace.raw,
                gamma=(1, 1),
                no_auto_bright=True,
                output_bps=16,
                use_camera_wb=True,
            )
    except rawpy.LibRawError as error:
        what = error.args[0] if error.args else "unknown format"
        what = what.decode(errors="replace") if isinstance(what, bytes) else str(what)
        raise InputError(f"{path}: cannot be read as a raw still ({what.lower()})") from error
    if (
        camera.ndim != 3
        or camera.shape[2] != 3
        or not np.allclose(matrix.sum(axis=1), 1, atol=0.05)
    ):
        raise InputError(f"{path}: the colours of its camera are not known to LibRaw")
    to_ap1 = between(BT709, AP1, "cat02") @ matrix
    return np.asarray((camera / 65535.0) @ to_ap1.T)
