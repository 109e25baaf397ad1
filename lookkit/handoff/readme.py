"""README.txt: who needs which file, what goes in, what comes out, and how exact it is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lookkit.deliver.written import Written
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

RECIPIENTS: Final = {
    "cube": (
        "Editor, monitor",
        "cube/CAMERA/: one .cube per output: load the one of your camera and display. Its name "
        "says encoding and range in, output and range out, and size. Beside it (.txt, .json): how "
        "far it is from the exact look, and where.",
    ),
    "config": (
        "Compositing, review",
        "ocio/: an OpenColorIO config (config.ocio with luts/, or config.ocioz alone).",
    ),
    "clf": (
        "Colourist",
        "clf/: the look as Common LUT Format operations, from and to ACES2065-1; before it, in "
        "clf/CAMERA/, the camera's codes to ACES2065-1 (_input); behind it ACES2065-1 to each "
        "output. Load the three one after the other. Each file says which part of it, if any, is "
        "a lattice.",
    ),
    "clf-chain": (
        "Colourist, for one file",
        "clf/CAMERA/: the camera's codes through the look to each output, as one file.",
    ),
    "clf-lattice": (
        "Colourist, for quick reading",
        "clf/CAMERA/*_33.clf: the same way to each output as one lattice behind a curve: many "
        "times smaller, less exact, and closer than a .cube of its size.",
    ),
    "cdl": (
        "Colourist who wants numbers to turn",
        "cdl/: the ASC CDL nearest to the look (.cc; .ccc and .cdl hold all), in ACEScct without "
        "clamps, and the residual (.cube or .clf) that makes the rest of the look behind it.",
    ),
    "stills": (
        "Stills photographer",
        "stills/: the look as a lattice picture (.png, level 8, 16 bits) for finished sRGB "
        "photographs; keep it lossless and untouched. There is no ICC profile beside it: no "
        "well-kept library writes device links.",
    ),
    "aces": (
        "Finishing in ACES",
        "aces/: the look as a look modification transform (_lmt), from and to ACEScct or "
        "ACES2065-1, to be followed by the ACES 2 output for Rec.709 of 100 cd/m2; the lines below "
        "say how far it is from the look there and on other outputs.",
    ),
    "report": (
        "Everybody",
        "report.html: the look in curves and colours, and how exact the files are. sheet.png, "
        "where frames were given: every scene and camera side by side.",
    ),
    "amf": (
        "Finishing in ACES",
        "*.amf: for each camera and output, which CLF files of clf/ make the picture, with their "
        "hashes. They stand at the top so that their paths need not climb.",
    ),
}
"""For each format: who needs it, and what it is."""

CAUTIONS: Final = (
    "A full-range file in a legal-range path, or the reverse, is the commonest fault: check black "
    "and white with a ramp before you trust a monitor.",
    "A viewing LUT is no exposure meter: expose by the camera's own measures.",
    "For broadcast, the delivery specification decides about levels.",
)
_WIDTH = 88


def readme(look: Look, folder: Path, written: Sequence[Written]) -> str:
    """Return the text for a hand-off in `folder` that holds the files `written`."""
    recipe = look.recipe
    lines = [f"{recipe.name}, version {recipe.version}, for {recipe.show}", ""]
    present = {one.format for one in written}
    for name, (who, text) in RECIPIENTS.items():
        if name in present:
            lines += [*_wrapped(f"{who}: {text}"), ""]
    lines += [*_wrapped("Everybody: recipe.toml is the look itself, as text."), ""]
    for camera in look.cameras:
        step = look.graph.input_transform(camera)
        lines.append(f"Camera {camera}: {step.encoding.name}, {step.signal_range} range.")
        if step.encoding.scene_linear:
            lines.append("  Scene-linear: only through the OCIO config, no .cube can carry it.")
        lines += _files(folder, [one for one in written if one.camera == camera])
        lines.append("")
    rest = [one for one in written if one.camera is None]
    if rest:
        lines += ["For all cameras", *_files(folder, rest), ""]
    for caution in CAUTIONS:
        lines += _wrapped(caution)
    return "\n".join([*lines, "", f"Made by lookkit {__version__}.", ""])


def _files(folder: Path, written: Sequence[Written]) -> list[str]:
    lines = []
    for one in written:
        lines.append(f"  {one.path.relative_to(folder).as_posix()}")
        lines += [f"    {line}" for line in (one.note, *one.accuracy) if line]
    return lines


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, _WIDTH, subsequent_indent="  ")
