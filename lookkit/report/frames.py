"""The frames of a film through a look, side by side: what a sheet and a report show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from lookkit.errors import InputError, LookkitError, UnknownNameError
from lookkit.look import Look
from lookkit.media.frame import read_frame
from lookkit.media.jobs import Options, Taken, assign
from lookkit.media.measure import Measures, measure_signal
from lookkit.progress import Progress, silent
from lookkit.report.sheet import Cell, Row
from lookkit.report.shown import as_bytes, recorded, small, srgb_of

CELL_WIDTH = 480


@dataclass(frozen=True, eq=False)
class Frame:
    """One frame through the look: whose it is, its pictures, and what its signal measures.

    `cells` has the frame as recorded, if that is shown, through the look, and each variant.
    `warnings` is what a user should know of the file.
    """

    camera: str
    scene: str | None
    place: str
    cells: tuple[Cell, ...]
    measures: Measures | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Frames:
    """All frames as the rows of a sheet, and what a user should know of them."""

    output: str
    rows: tuple[Row, ...]
    frames: tuple[Frame, ...]
    note: str
    warnings: tuple[str, ...]


def graded_frames(
    look: Look,
    files: Sequence[str | Path],
    options: Options | None = None,
    *,
    variants: Sequence[Look] = (),
    names: Sequence[str] = (),
    before: bool = True,
    width: int = CELL_WIDTH,
    measured: bool = False,
    progress: Progress = silent,
) -> Frames:
    """Grade a frame of each file, and put them in rows by scene and columns by camera.

    Of a clip or a sequence it is the frame in the middle. Where several files are of one
    scene and camera, the scene has as many rows, and the files are named. What lies in a folder
    and cannot be used is told in `warnings`, and the rest goes on.

    Parameters
    ----------
    files, options
        As `lookkit apply` takes them; which camera and scene they are of is found alike.
    variants
        Other looks of the same cameras, each beside the first.
    names
        What the look and its variants are called; default their own names.
    before
        Show each frame as recorded too.
    width
        Pixels across each picture.
    measured
        Measure the signal of each frame through the look.

    Raises
    ------
    InputError
        If nothing says whose a file is that was named, it cannot be read, no file is left, or a
        variant lacks a camera, scene or output; all problems at once.
    """
    options = options or Options()
    taken, refused = assign(look, files, options)
    named = {Path(one) for one in files}
    if not taken or any(one.source in named for one in refused):
        raise InputError("\n".join(one.problem for one in refused))
    left = [one.problem for one in refused]
    output = _output_of(look, options)
    looks = [look, *variants]
    _check_variants(variants, taken, output)
    names = names or _names(looks)
    made = []
    for count, one in enumerate(taken):
        progress(f"frame of {one.place.name}", count, len(taken))
        try:
            made.append(_graded(looks, names, one, output, before, width, measured))
        except LookkitError as error:
            if one.place in named:
                raise
            left.append(str(error))
    progress("frames", len(taken), len(taken))
    if not made:
        raise InputError("\n".join(left))
    told = [one.warnings for one in taken] + [one.warnings for one in made]
    warnings = (*left, *(line for one in told for line in one))
    rows = _rows(look, made, len(names) + before)
    return Frames(output, rows, tuple(made), _note(look, output), warnings)


def sheet_title(look: Look, variants: Sequence[Look] = ()) -> str:
    """Return what stands above a sheet: the looks and their versions."""
    looks = [f"{one.recipe.name}, version {one.recipe.version}" for one in (look, *variants)]
    return f"{look.recipe.show}: {' / '.join(looks)}"


def _output_of(look: Look, options: Options) -> str:
    """Return the output that pages show: the one asked for, or the first of standard range."""
    if options.output is not None:
        return options.output
    plain = [name for name in look.outputs if not look.graph.output(name).is_hdr]
    return (plain or look.outputs)[0]


def _check_variants(variants: Sequence[Look], taken: Sequence[Taken], output: str) -> None:
    problems = []
    for look in variants:
        wanted = [("output", output, look.outputs)]
        wanted += [("camera", one.camera, look.cameras) for one in taken]
        wanted += [("scene", one.scene, look.scenes) for one in taken if one.scene is not None]
        for what, name, known in dict.fromkeys(wanted):
            if name not in known:
                problems.append(f"{look.source}: {UnknownNameError(what, name, known)}")
    if problems:
        raise InputError("\n".join(problems))


def _names(looks: Sequence[Look]) -> list[str]:
    """Return what the columns of the looks are called: their names, or where alike their files."""
    if len(looks) == 1:
        return ["through the look"]
    names = [look.recipe.name for look in looks]
    return [
        name if names.count(name) == 1 else f"{name} ({Path(look.source).stem})"
        for name, look in zip(names, looks, strict=True)
    ]


def _graded(
    looks: Sequence[Look],
    names: Sequence[str],
    taken: Taken,
    output: str,
    before: bool,
    width: int,
    measured: bool,
) -> Frame:
    picture = read_frame(looks[0], taken)
    file = Path(picture.place).name
    cells = []
    if before:
        shown = recorded(looks[0], taken.camera, picture.code)
        text = f"camera {taken.camera}, as recorded"
        cells.append(Cell(small(shown, width, picture.aspect), text, file))
    found = None
    for number, (look, name) in enumerate(zip(looks, names, strict=True)):
        signal = look.picture(
            picture.code,
            camera=taken.camera,
            output=output,
            scene=taken.setting(look),
            shot=taken.place.name,
            aspect=float(picture.aspect),
        )
        target = look.graph.output(output)
        if measured and number == 0:
            found = measure_signal(signal, target)
        shown = as_bytes(srgb_of(target).apply(signal))
        text = f"camera {taken.camera}, {name}"
        cells.append(Cell(small(shown, width, picture.aspect), text, file))
    told = (
        f"{picture.place}: its alpha is 0 everywhere; it is shown here all the same, but viewers "
        "that follow alpha show nothing of it"
    )
    warnings = (told,) if picture.is_unseen else ()
    return Frame(taken.camera, taken.scene, picture.place, tuple(cells), found, warnings)


def _rows(look: Look, frames: Sequence[Frame], width: int) -> tuple[Row, ...]:
    cameras = [name for name in look.cameras if any(one.camera == name for one in frames)]
    rows = []
    for scene in (*look.scenes, None):
        there = {
            camera: [f for f in frames if f.scene == scene and f.camera == camera]
            for camera in cameras
        }
        for number in range(max(map(len, there.values()), default=0)):
            cells: list[Cell] = []
            for camera in cameras:
                if number < len(there[camera]):
                    frame = there[camera][number]
                    cells += _named(frame) if len(there[camera]) > 1 else frame.cells
                else:
                    cells += [Cell(None, f"camera {camera}: no frame"),
                              *[Cell(None)] * (width - 1)]  # fmt: skip
            rows.append(Row(scene or ("no scene" if look.scenes else ""), cells))
    return tuple(rows)


def _named(frame: Frame) -> list[Cell]:
    """Return a frame's cells, the first with the file's name: others stand beside it."""
    first, *others = frame.cells
    file = Path(frame.place.partition(", frame ")[0]).name
    return [replace(first, caption=f"{first.caption}: {file}"), *others]


def _note(look: Look, output: str) -> str:
    target = look.graph.output(output)
    text = f"Output {output} ({target.name}), shown as sRGB."
    if target.is_hdr:
        text += f" Light above paper white ({target.reference_white:g} cd/m2) is held at white."
    return text
