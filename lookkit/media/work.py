"""Doing one job: a clip, a sequence or a still through the look."""

from __future__ import annotations

import errno
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from lookkit.errors import InputError, LookkitError, NotWrittenError
from lookkit.media.avlib import library, reason
from lookkit.media.clip import Clip, Frame, frames_of, opened, planes_of
from lookkit.media.codecs import CODECS
from lookkit.media.coding import Coding
from lookkit.media.frame import read_code
from lookkit.media.grader import (
    BOUNDED_PIXELS,
    Grader,
    StillGrader,
    TextureGrader,
    given_range,
    grade_of,
    taken_range,
)
from lookkit.media.jobs import Job
from lookkit.media.light import LightMeter
from lookkit.media.movie import HDR_BOXES, MovieSpec, MovieWriter, carries_sound, job_of_movie
from lookkit.media.numbered import Numbered, listed
from lookkit.media.partial import whole_or_none
from lookkit.media.pipeline import Ahead, Behind
from lookkit.media.stills import NO_ALPHA, Attribute, Still, depth_of, write_still
from lookkit.media.tags import mastering_of, output_tags
from lookkit.media.tally import SoundIn, check_movie
from lookkit.media.timecode import advanced, packed, unpacked
from lookkit.ocio import cores
from lookkit.spaces import ranges
from lookkit.spaces.icc import profile_of
from lookkit.version import __version__

if TYPE_CHECKING:
    from lookkit.look import Look

Pixels = npt.NDArray[np.float32]
T = TypeVar("T")
Tick = Callable[[int], None]
"""Called with the number of frames that were just done."""

_FINE: Final = 100
_SHUT: Final = (errno.EROFS, errno.EACCES, errno.EPERM)


@dataclass(frozen=True)
class Done:
    """What became of a job.

    `problem` is empty where the whole result is there. `kept` says that it was there
    already, made by the same job. `frames` counts those graded now; `not_finite` the
    pixels of pictures that held a NaN or an infinity.
    """

    source: Path
    target: Path
    problem: str = ""
    frames: int = 0
    kept: bool = False
    not_finite: int = 0
    warnings: tuple[str, ...] = ()


class Graded(NamedTuple):
    """What is told of a picture that was graded."""

    not_finite: int
    is_unseen: bool


def no_tick(frames: int) -> None:
    """Count nothing."""


def perform(look: Look, job: Job, tick: Tick = no_tick) -> Done:
    """Do a job; what fails is told in the result, and leaves nothing half-written."""
    if not job.texture:
        look = look.without_texture()
    try:
        _make_folder(job)
        if isinstance(job.target, Numbered):
            return _to_pictures(look, job, tick)
        if isinstance(job.source, Path):
            return _still(look, job, job.source, job.target, tick)
        return _to_movie(look, job, job.target, tick)
    except (LookkitError, OSError) as error:
        return Done(job.place, job.result, _told(job, error), warnings=job.warnings)
    except MemoryError:
        return Done(job.place, job.result, f"{job.place}: too large for the memory")


def _make_folder(job: Job) -> None:
    folder = folder_of(job)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotWrittenError(f"{folder}: cannot be made ({reason(error)})") from error


def _told(job: Job, error: LookkitError | OSError) -> str:
    """Return what went wrong with a job, and what helps where its place takes no files."""
    cause: BaseException | None = error
    text = f"{job.place}: {reason(error)}"
    if isinstance(error, LookkitError):
        text, cause = str(error), error.__cause__
    if not isinstance(cause, OSError):
        return text
    if cause.errno in _SHUT and job.place.parent in (folder_of(job), folder_of(job).parent):
        return f"{text}; results go beside their sources unless --into FOLDER names a place"
    if cause.errno == errno.ENAMETOOLONG:
        return f"{text}; the result's name is the source's and {_added(job)} more characters"
    return text


def _added(job: Job) -> int:
    return len(job.result.name) - len(job.place.name)


def folder_of(job: Job) -> Path:
    """Return the folder that a job writes into."""
    return job.target.folder if isinstance(job.target, Numbered) else job.target.parent


def is_made(path: Path, job: Job) -> bool:
    """Say whether a file is the result of this very job.

    Raises
    ------
    InputError
        If it is something else and the job may not replace it.
    """
    if not path.exists():
        return False
    if job.overwrite:
        same = isinstance(job.source, Path) and path.samefile(job.source)
        if same:
            raise InputError(f"{path}: is the source itself, and is left as it is")
        return False
    found = job_of_movie(path) if job.codec else _job_of_still(path)
    if found != job.id:
        raise InputError(
            f"{path}: exists already, made otherwise, and is left as it is "
            "(--overwrite replaces it)"
        )
    return True


def _job_of_still(path: Path) -> str | None:
    import OpenImageIO as oiio

    reader = oiio.ImageInput.open(str(path))
    if reader is None:
        return None
    software = reader.spec().get_string_attribute("Software")
    reader.close()
    return software.partition("job ")[2].rstrip("]") or None


def _still(look: Look, job: Job, source: Path, target: Path, tick: Tick) -> Done:
    if is_made(target, job):
        tick(1)
        return Done(source, target, kept=True, warnings=job.warnings)
    still = _grade_still(look, job, source, target)
    tick(1)
    warnings = (*job.warnings, *_unseen([still.is_unseen], source, target))
    return Done(source, target, "", 1, False, still.not_finite, warnings)


def _unseen(found: Sequence[bool], source: Path, target: Path) -> list[str]:
    """Tell of pictures whose alpha is 0 everywhere, where a result carries it."""
    count = sum(found)
    if not count or target.suffix in NO_ALPHA:
        return []
    whose = "its alpha" if len(found) == 1 else f"the alpha of {count} of {len(found)} pictures"
    return [
        f"{source}: {whose} is 0 everywhere and is carried over: the result is graded, but viewers "
        "that follow alpha show nothing of it"
    ]


def _grade_still(look: Look, job: Job, source: Path, target: Path, frame: int = 0) -> Still:
    still = read_code(look, job.camera, source)
    bits = job.bits
    if bits is None and target.suffix == source.suffix.lower() and still.bits in (8, 16):
        bits = still.bits
    display = look.graph.output(job.output)
    depth = depth_of(target.suffix, bits)
    # Whether it goes the bounded way depends on the job alone, so that every machine does the same.
    many = isinstance(job.source, Numbered) or still.pixels[..., 0].size >= BOUNDED_PIXELS
    if isinstance(job.source, Numbered) and look.recipe.is_keyed(job.scene):
        look = _at(look, job, job.source.place_of(source))
    graded = _picture(look, job, still, depth if many else None, frame)
    scale, offset = ranges.scale_offset(display.range, display.range, display.bits, depth)
    if display.range == "legal":
        graded = np.clip(graded * np.float32(scale) + np.float32(offset), 0.0, 1.0)
    _write(look, job, target, graded, still, bits, [_made_at(source)])
    return still


def _write(
    look: Look,
    job: Job,
    target: Path,
    pixels: Pixels,
    still: Still | None,
    bits: int | None,
    attributes: list[Attribute],
) -> None:
    display = look.graph.output(job.output)
    write_still(
        target,
        pixels,
        still,
        bits=bits,
        interop_id=display.interop_id,
        profile=profile_of(display),
        location=job.location,
        note=_note(look, job),
        software=f"lookkit {__version__} [job {job.id}]",
        attributes=attributes,
    )


def _note(look: Look, job: Job) -> str:
    recipe = look.recipe
    scene = f"scene {job.scene}, " if job.scene else ""
    return (
        f"lookkit {__version__}: {recipe.name} v{recipe.version}, camera {job.camera}, "
        f"{scene}to {look.graph.output(job.output).name}"
    )


def _made_at(path: Path) -> Attribute:
    """Return the date that a result gets: its source's, so that results do not differ by it."""
    when = datetime.fromtimestamp(int(path.stat().st_mtime), UTC)
    return ("DateTime", "string", when.strftime("%Y:%m:%d %H:%M:%S"))


def _to_pictures(look: Look, job: Job, tick: Tick) -> Done:
    """Grade a sequence, or a clip, into numbered pictures; frames that are there stay."""
    assert isinstance(job.target, Numbered)
    waiting = [frame for frame in job.target.frames if not is_made(job.target.path(frame), job)]
    tick(len(job.target.frames) - len(waiting))
    problems, graded, not_finite = [], 0, 0
    hidden: list[bool] = []
    source = job.source
    if isinstance(source, Numbered) and source.missing:
        problems.append(f"{source.pattern}: frames {listed(source.missing)} are missing")
    if isinstance(source, Numbered):
        warnings = tuple(line for line in job.warnings if line not in problems)
        with ThreadPoolExecutor(cores() + 1, "lookkit-frames") as pool:

            def one(frame: int) -> Graded | str:
                try:
                    assert isinstance(job.target, Numbered)
                    assert isinstance(source, Numbered)
                    to = job.target.path(frame)
                    still = _grade_still(look, job, source.path(frame), to, frame)
                    return Graded(still.not_finite, still.is_unseen)
                except NotWrittenError:
                    raise
                except (LookkitError, OSError) as error:
                    return str(error)

            try:
                for result in _in_turn(pool, one, waiting):
                    tick(1)
                    if isinstance(result, str):
                        problems.append(result)
                    else:
                        graded += 1
                        not_finite += result.not_finite
                        hidden.append(result.is_unseen)
            except NotWrittenError as error:
                # What one frame met, such as a full disk, each of the others would meet too.
                done = graded + len(problems)
                problems.append(f"{error}; the job ends here, {done} of {len(waiting)} frames done")
        warnings = (*warnings, *_unseen(hidden, job.place, job.target.path(job.target.frames[0])))
    else:
        assert isinstance(source, Clip)
        warnings = job.warnings
        graded = _clip_to_pictures(look, job, source, job.target, set(waiting), tick)
    kept = not waiting and not problems
    return Done(job.place, job.result, "\n".join(problems), graded, kept, not_finite, warnings)


def _in_turn(
    pool: ThreadPoolExecutor, work: Callable[[int], Graded | str], items: list[int]
) -> Iterator[Graded | str]:
    """Map with only a few items under way, so that an interrupt has little to wait for."""
    waiting = iter(items)
    running: list[Any] = []
    try:
        for item in waiting:
            running.append(pool.submit(work, item))
            if len(running) > 2 * cores():
                yield running.pop(0).result()
        while running:
            yield running.pop(0).result()
    finally:
        for future in running:
            future.cancel()


def _clip_to_pictures(
    look: Look, job: Job, clip: Clip, target: Numbered, waiting: set[int], tick: Tick
) -> int:
    if not waiting:
        return 0
    display = look.graph.output(job.output)
    coding = replace(clip.coding, range=job.range, signal=job.signal)
    # 16-bit integers hold the signal 0-1 finely enough for every picture format.
    through = Coding("rgb", display.range, depth_of(target.tail, job.bits))
    grader = _grader(look, job, coding, through, clip.pixels)
    made_at = _made_at(clip.path)
    count = 0

    def write(item: tuple[int, Any]) -> None:
        number, pixels = item
        path = target.path(target.frames[0] + number)
        attributes = [made_at, ("FramesPerSecond", "rational", _rational(clip.rate))]
        code = packed(advanced(clip.timecode, number, clip.rate)) if clip.timecode else None
        if code is not None and target.tail in (".exr", ".dpx"):
            attributes.append(("smpte:TimeCode", "timecode", code))
        _write(look, job, path, pixels, None, job.bits, attributes)
        tick(1)

    with (
        Ahead(frames_of(clip, deinterlace=job.deinterlace)) as frames,
        Behind(write) as behind,
    ):
        for frame in frames:
            if target.frames[0] + frame.number not in waiting:
                continue
            if look.recipe.is_keyed(job.scene):
                grader = _grader(_at(look, job, frame.number), job, coding, through, clip.pixels)
            planes = _graded(grader, frame, clip.width, clip.height)
            top = np.float32(through.top * 2 ** (16 - through.bits))
            pixels = np.stack([p[:, : clip.width] for p in planes], axis=-1) / top
            behind.put((frame.number, pixels.astype(np.float32)))
            count += 1
    if count != len(waiting):
        raise LookkitError(f"{job.place}: {count} pictures were made, expected {len(waiting)}")
    return count


def _graded(grader: AnyGrader, frame: Frame, width: int, height: int) -> list[Any]:
    source = planes_of(frame.picture)
    target = [np.empty((height, width), dtype=np.uint16) for _ in range(3)]
    grader.planes(source, (target[0], target[1], target[2]), width, frame.number)
    return target


def _rational(rate: Fraction) -> tuple[int, int]:
    return rate.numerator, rate.denominator


_graders: dict[tuple[Any, ...], Any] = {}
_graders_lock = threading.Lock()


def _kept(key: tuple[Any, ...], make: Callable[[], T]) -> T:
    """Return what was made for a key: what a bounded grader has proved serves later jobs too."""
    with _graders_lock:
        if key not in _graders:
            while len(_graders) > 3:
                del _graders[next(iter(_graders))]
            _graders[key] = make()
        found: T = _graders[key]
        return found


def _at(look: Look, job: Job, frame: int) -> Look:
    """Return the look at a frame of a job whose shot has key frames: no two frames are alike."""
    assert job.scene is not None
    return look.at_frame(job.scene, frame)


AnyGrader = Grader | TextureGrader


def _grader(look: Look, job: Job, source: Coding, target: Coding, pixels: int) -> AnyGrader:
    """Return the grader of a job, which draws texture where the look has one.

    Whether it goes the bounded way depends on the clip alone, so that every machine does the
    same.
    """
    bounded = pixels >= BOUNDED_PIXELS
    textured = look.textured(job.camera, job.output, job.scene)
    if textured is not None:
        taken = taken_range(look, source, job.camera)
        given = given_range(look, target, job.output)
        aspect = float(job.source.upright_aspect) if isinstance(job.source, Clip) else 1.0
        return TextureGrader(textured, source, target, taken, given, job.place.name, aspect)

    def make() -> Grader:
        grade = grade_of(
            look, source, target, camera=job.camera, output=job.output, scene=job.scene
        )
        return Grader(grade, source, target, bounded=bounded)

    if look.recipe.is_keyed(job.scene):
        bounded = False
        return make()
    key = (look.recipe_hash, job.camera, job.output, job.scene, source, target, bounded)
    return _kept(key, make)


def _picture(look: Look, job: Job, still: Still, bits: int | None, frame: int) -> Pixels:
    """Return a graded still or frame of a sequence, with texture where the look has one."""
    if look.has_texture(job.output, job.scene):
        return look.picture(
            still.pixels, camera=job.camera, output=job.output, scene=job.scene,
            shot=job.place.name, frame=frame, aspect=float(still.aspect),
        )  # fmt: skip
    return _still_grader(look, job, bits).picture(still.pixels)


def _still_grader(look: Look, job: Job, bits: int | None) -> StillGrader:
    """Return what grades stills, the bounded way to integers of `bits` bits, or exactly."""
    if look.graph.input_transform(job.camera).encoding.scene_linear:
        bits = None

    def grade(pixels: Pixels) -> Pixels:
        return look.apply(pixels, camera=job.camera, output=job.output, scene=job.scene)

    if look.recipe.is_keyed(job.scene):
        return StillGrader(grade, None)
    key = (look.recipe_hash, job.camera, job.output, job.scene, bits)
    return _kept(key, lambda: StillGrader(grade, bits))


def _to_movie(look: Look, job: Job, target: Path, tick: Tick) -> Done:
    if is_made(target, job):
        tick(job.frames)
        return Done(job.place, target, kept=True, warnings=job.warnings)
    codec = CODECS[str(job.codec)]
    display = look.graph.output(job.output)
    tags = output_tags(display)
    coding = Coding("bt2020" if tags.matrix == 9 else "bt709", "legal", int(job.bits or 10))
    warnings = list(job.warnings)
    if mastering_of(display) is not None and target.suffix not in HDR_BOXES:
        warnings.append(
            f"{job.place}: the light level (MaxCLL, MaxFALL) does not go into {target.suffix}; "
            "it is left out"
        )
    with ExitStack() as stack:
        part = stack.enter_context(whole_or_none(target))
        if isinstance(job.source, Clip):
            clip = job.source
            spec = MovieSpec(
                codec, coding, tags, clip.width, clip.height, clip.rate,
                clip.time_base if clip.variable else 1 / (clip.rate * _parts(clip, target)),
                clip.upright_aspect,
                clip.timecode, clip.metadata, clip.video_metadata,
                mastering_of(display),
                job.id, _note(look, job), clip.frames, job.location,
            )  # fmt: skip
            container = stack.enter_context(opened(clip))
            sound = {}
            for stream in container.streams.audio:
                if carries_sound(target.suffix, stream):
                    sound[stream.index] = SoundIn.of(stream, clip.first * clip.time_base)
                else:
                    warnings.append(
                        f"{clip.path}: sound of {stream.codec_context.name} does not go into "
                        f"{target.suffix}; it is left out"
                    )
            count = _encode(look, job, spec, container, sound, part, tick)
            warnings += check_movie(part, target, count, clip.rate, list(sound.values()))
        else:
            assert isinstance(job.source, Numbered)
            count = _sequence_to_movie(look, job, job.source, part, tick, tags, coding)
            check_movie(part, target, job.frames, job.rate or Fraction(24), [])
        if count == 0:
            raise LookkitError(f"{job.place}: holds no frames")
    return Done(job.place, target, "", count, warnings=tuple(warnings))


def _parts(clip: Clip, target: Path) -> int:
    """Return into how many parts a frame's time is cut, so that a clip begins when it did.

    Pictures that began between two frames of the sound's time would else be out of step with it.
    """
    begun = clip.first * clip.time_base * clip.rate
    whole = target.suffix == ".mxf" or abs(begun - round(begun)) < Fraction(1, _FINE)
    return 1 if whole else _FINE


def _encode(
    look: Look,
    job: Job,
    spec: MovieSpec,
    container: Any,
    sound: dict[int, SoundIn],
    part: Path,
    tick: Tick,
) -> int:
    """Decode, grade and encode at the same time; return the number of frames read.

    `container` is the clip, which stays open until the last packet of sound is written.
    """
    clip = job.source
    assert isinstance(clip, Clip)
    av = library()
    coding = replace(clip.coding, range=job.range, signal=job.signal)
    grader = _grader(look, job, coding, spec.coding, clip.pixels)
    streams = tuple(container.streams[index] for index in sound)
    writer = MovieWriter(part, spec, job.result, streams)
    items = frames_of(
        clip,
        deinterlace=job.deinterlace,
        container=container,
        sound={index: one.read for index, one in sound.items()},
    )
    meter = _meter(look, job, spec)
    count, last = 0, -1
    # Graded frames are used again: fresh memory for each costs more than a copy of it.
    spare: SimpleQueue[Any] = SimpleQueue()

    def write(item: Any) -> None:
        if isinstance(item, tuple):
            writer.write(*item)
            spare.put(item[0])
            tick(1)
        else:
            writer.sound_packet(item)

    try:
        with Ahead(items) as decoded, Behind(write) as behind:
            for item in decoded:
                if not isinstance(item, Frame):
                    behind.put(item)
                    continue
                if spare.empty():
                    spare.put(av.VideoFrame(clip.width, clip.height, "yuv444p16le"))
                picture = spare.get()
                target = planes_of(picture)
                if look.recipe.is_keyed(job.scene):
                    now = _at(look, job, item.number)
                    grader = _grader(now, job, coding, spec.coding, clip.pixels)
                grader.planes(planes_of(item.picture), target, clip.width, item.number)
                if meter is not None:
                    meter.add(target, clip.width)
                time = item.time
                if not clip.variable:
                    parts = 1 / (spec.time_base * clip.rate)
                    since = round((item.time - clip.first) * clip.time_base * clip.rate)
                    time = round(clip.first * clip.time_base / spec.time_base + since * parts)
                last = max(time, last + 1)
                behind.put((picture, last))
                count += 1
        writer.close(meter.levels if meter is not None else None)
    except BaseException:
        writer.abandon()
        raise
    return count


def _meter(look: Look, job: Job, spec: MovieSpec) -> LightMeter | None:
    if spec.mastering is None:
        return None
    return LightMeter(spec.coding, look.graph.output(job.output).curve)


def _sequence_to_movie(
    look: Look, job: Job, source: Numbered, part: Path, tick: Tick, tags: Any, coding: Coding
) -> int:
    av = library()
    first = read_code(look, job.camera, source.path(source.frames[0]))
    height, width = first.pixels.shape[:2]
    codec = CODECS[str(job.codec)]
    if why := codec.misfit(width, height):
        raise InputError(f"{source.pattern}: {why}")
    display = look.graph.output(job.output)
    rate = job.rate or Fraction(24)
    timecode = unpacked(first.spec.getattribute("smpte:TimeCode"))
    spec = MovieSpec(
        codec, coding, tags, width, height, rate, 1 / rate, first.aspect, timecode=timecode,
        mastering=mastering_of(display), job=job.id, note=_note(look, job),
        frames=job.frames,
    )  # fmt: skip
    signal = Coding("rgb", display.range, 16)
    scale, offset = ranges.scale_offset(display.range, coding.range, display.bits, coding.bits)
    bits = coding.bits if scale <= 1.0 else None
    matrix, zero = (part_.astype(np.float32) for part_ in coding.from_rgb())
    assert signal.matrix == "rgb"
    writer = MovieWriter(part, spec, job.result)
    meter = _meter(look, job, spec)

    def read() -> Iterator[tuple[int, Still]]:
        for number, frame in enumerate(source.frames):
            still = read_code(look, job.camera, source.path(frame))
            if still.pixels.shape[:2] != (height, width):
                found = "x".join(map(str, still.pixels.shape[1::-1]))
                raise LookkitError(
                    f"{source.path(frame)}: is {found}, the frames before it {width}x{height}"
                )
            yield number, still

    def write(item: tuple[Any, int]) -> None:
        writer.write(*item)
        tick(1)

    try:
        with Ahead(read()) as pictures, Behind(write) as behind:
            for number, still in pictures:
                keyed = look.recipe.is_keyed(job.scene)
                now = _at(look, job, number) if keyed else look
                graded = _picture(now, job, still, bits, source.frames[number])
                rgb = np.clip(graded * np.float32(scale) + np.float32(offset), 0.0, 1.0)
                coded = np.clip(rgb @ matrix.T + zero, 0.0, 1.0) * np.float32(65535)
                picture = av.VideoFrame(width, height, "yuv444p16le")
                planes = planes_of(picture)
                for channel, plane in enumerate(planes):
                    plane[:, :width] = np.rint(coded[..., channel])
                if meter is not None:
                    meter.add(planes, width)
                behind.put((picture, number))
        writer.close(meter.levels if meter is not None else None)
    except BaseException:
        writer.abandon()
        raise
    return writer.written
