"""Clips through the look: levels, tags, sound, timecode, metadata, every codec."""

import itertools
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from lookkit.bounded import available
from lookkit.media.clip import Frame, frames_of, planes_of, probe
from lookkit.media.coding import Coding
from lookkit.media.frame import read_frame
from lookkit.media.grader import Grader, grade_of
from lookkit.media.jobs import Options, assign, plan
from lookkit.media.run import run
from lookkit.media.stills import read_still
from tests.media.movies import av, decoded, flat, made_look, noise, planes, write_movie

REAL = ["carrots_log_10bit.mov", "hlg10-color-test.mp4", "nasa_13013.mp4",
        "roadtrip-vp92-10bit.webm"]  # fmt: skip


@pytest.fixture(scope="module")
def look():
    return made_look()


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    path = tmp_path_factory.mktemp("clip") / "A001.mov"
    write_movie(
        path, noise(5), codec="prores_ks", options={"profile": "3"}, sound="pcm_s16le",
        metadata={"timecode": "01:02:03:04", "title": "Kiln"},
    )  # fmt: skip
    return path


def apply(look, files, into, **options):
    planned = plan(look, files, Options(into=into, **options))
    return planned, run(look, planned)


def one(look, path, into, **options):
    planned, done = apply(look, [path], into, **{"camera": "A", **options})
    assert not planned.refused
    assert not done[0].problem
    return done[0].target


# FFmpeg's own conversion to 10-bit R'G'B' of the same frame, told where ProRes and VP9 chroma
# lies (to the left: SMPTE RDD 36; H.273 type 0), for libswscale centres it where no tag says.
@pytest.mark.parametrize("name", REAL)
def test_decoded_levels_are_those_of_ffmpeg(shared_data, name):
    clip = probe(shared_data / "video" / name)
    matrix, offset = clip.coding.to_rgb()
    frames = frames_of(clip)
    picture = next(f for f in frames if isinstance(f, Frame)).picture
    ours = (
        np.stack([p[:, : clip.width] / 65535 for p in planes_of(picture)], -1) @ matrix.T + offset
    )
    graph = av.filter.Graph()
    frame = decoded(clip.path)[0]
    nodes = [
        graph.add("buffer", f"width={frame.width}:height={frame.height}"
                  f":pix_fmt={frame.format.name}:time_base=1/24"
                  f":colorspace={int(frame.colorspace)}:range={int(frame.color_range)}"),
        graph.add("scale", "flags=bicubic+accurate_rnd+full_chroma_int+full_chroma_inp"
                  f":in_chroma_loc={clip.siting}:in_color_matrix={clip.coding.matrix}"),
        graph.add("format", "gbrp10le"),
        graph.add("buffersink"),
    ]  # fmt: skip
    for a, b in itertools.pairwise(nodes):
        a.link_to(b)
    graph.configure()
    nodes[0].push(frame)
    theirs = np.stack([planes(p)[k] for p in [nodes[-1].pull()] for k in (2, 0, 1)], -1)
    top = clip.coding.top
    low, high = 16 * (top + 1) / 256, 235 * (top + 1) / 256
    # White is 1020 there, 255 in 8 bits made wider; what it clips is clipped here.
    full = np.clip((ours * top - low) / (high - low) * 1020, 0, 1023)
    frames.close()
    assert np.abs(np.rint(full) - theirs).max() <= 1


@pytest.mark.parametrize("name", REAL[:3])
def test_graded_frames_are_those_of_the_look_within_one_code(shared_data, look, name):
    clip = probe(shared_data / "video" / name)
    target = Coding("bt709", "legal", 10)
    grader = Grader(grade_of(look, clip.coding, target, camera="A", output="monitor"),
                    clip.coding, target)  # fmt: skip
    frames = frames_of(clip)
    source = planes_of(next(frames).picture)
    made = tuple(np.empty((clip.height, clip.width), np.uint16) for _ in range(3))
    grader.planes(source, made, clip.width)
    frames.close()
    matrix, offset = clip.coding.to_rgb()
    codes = np.stack([p[:, : clip.width] / 65535 for p in source], -1) @ matrix.T + offset
    top = clip.coding.top
    low, high = 16 * (top + 1) / 256, 235 * (top + 1) / 256
    # The camera is full range in the recipe, the file legal: signal 0-1, super-white kept, and
    # what Y'CbCr holds beyond the integers of R'G'B'.
    signal = (codes * top - low) / (high - low)
    wanted = look.evaluate(signal, camera="A", output="monitor") * 876 + 64
    matrix, offset = target.to_rgb()
    found = (np.stack([p / 65535 for p in made], -1) @ matrix.T + offset) * 1023
    assert np.abs(found - wanted).max() <= 1.0


@pytest.mark.skipif(not available(), reason="built without the bounded way's compiled part")
@pytest.mark.parametrize("bits", [8, 10, 12])
def test_the_bounded_way_of_long_clips_is_within_one_code(look, bits):
    coding, target = Coding("bt709", "legal", 10), Coding("bt709", "legal", bits)
    grade = grade_of(look, coding, target, camera="A", output="monitor")
    frame = tuple(p << 6 for p in noise(1, 96, 64, form="yuv444p10le")[0])
    bounded, exact = Grader(grade, coding, target, bounded=True), Grader(grade, coding, target)
    results = []
    for grader in (bounded, exact):
        made = tuple(np.empty((64, 96), np.uint16) for _ in range(3))
        grader.planes(frame, made, 96)
        results.append(np.stack(made).astype(float) / 2 ** (16 - bits))
    assert bounded.lattice is not None
    assert (results[0] != results[1]).any()
    assert np.abs(results[0] - results[1]).max() <= 1.0


@pytest.mark.skipif(not available(), reason="built without the bounded way's compiled part")
def test_targets_of_16_bits_are_graded_exactly(look):
    coding = Coding("rgb", "full", 16)
    assert Grader(lambda rgb: rgb, coding, coding, bounded=True).lattice is None


IDENTITY = """
schema = 1
name = "Plain"
[cameras.A]
encoding = "LogC4"
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
BARS = [(940, 512, 512), (721, 512, 512), (674, 176, 543), (581, 589, 176), (534, 253, 207),
        (251, 771, 817), (204, 435, 848), (111, 848, 481), (64, 512, 512)]  # fmt: skip


@pytest.mark.parametrize("codes", BARS)
def test_colour_bars_survive_matrix_and_range_both_ways(codes):
    coding = Coding("bt709", "legal", 10)
    made = tuple(np.empty((4, 8), np.uint16) for _ in range(3))
    source = tuple(np.full((4, 8), code << 6, np.uint16) for code in codes)
    Grader(lambda rgb: rgb, coding, coding).planes(source, made, 8)
    assert np.abs(np.array([p[0, 0] / 64 for p in made]) - codes).max() <= 1.0


# Steps of chroma at left-sited 4:2:0 and 4:2:2: a ramp that is linear across the picture stays
# so only if its samples are put where they lie.
def test_chroma_lies_where_its_tag_says(tmp_path):
    x = np.arange(64)
    luma = np.full((32, 64), 500, np.uint16)
    for form, rows in (("yuv422p10le", 32), ("yuv420p10le", 16)):
        chroma = np.tile(300 + 4 * x[::2], (rows, 1)).astype(np.uint16)
        write_movie(tmp_path / "ramp.mkv", [[luma, chroma, chroma]], form=form)
        clip = probe(tmp_path / "ramp.mkv")
        assert clip.siting == "left"
        found = planes_of(next(frames_of(clip)).picture)[1][8, 8:56] / 64
        assert np.abs(found - (300 + 4 * x[8:56])).max() <= 0.51


@pytest.mark.parametrize(
    ("codec", "suffix", "form"),
    [
        ("prores-422-hq", ".mov", "yuv422p10le"), ("prores-4444", ".mov", "yuv444p12le"),
        ("dnxhr-hq", ".mov", "yuv422p"), ("dnxhr-hqx", ".mov", "yuv422p10le"),
        ("dnxhr-444", ".mov", "yuv444p10le"), ("h264", ".mp4", "yuv420p10le"),
        ("hevc", ".mp4", "yuv420p10le"), ("dnxhr-hqx", ".mxf", "yuv422p10le"),
        ("dnxhr-hq", ".mxf", "yuv422p"),
    ],
)  # fmt: skip
def test_every_codec_writes_what_was_graded(tmp_path, look, codec, suffix, form):
    path = tmp_path / "A001.mkv"
    write_movie(path, [flat((400, 480, 560), 256, 128)] * 3)
    target = one(look, path, tmp_path / "out", codec=codec, extension=suffix)
    frames = decoded(target)
    assert len(frames) == 3
    assert frames[0].format.name == form
    assert (frames[0].color_range, frames[0].color_primaries, frames[0].color_trc) == (1, 1, 1)
    coding, clip = Coding("bt709", "legal", 10), probe(path)
    exact = tuple(np.empty((128, 256), np.uint16) for _ in range(3))
    grade = grade_of(look, coding, coding, camera="A", output="monitor")
    Grader(grade, coding, coding).planes(planes_of(next(frames_of(clip)).picture), exact, 256)
    bits = frames[0].format.components[0].bits
    found = [np.median(p) * 2.0 ** (10 - bits) for p in planes(frames[0])]
    wanted = [p[0, 0] / 64 for p in exact]
    assert np.abs(np.array(found) - wanted).max() <= (2.0 if bits > 8 else 5.0)


def test_timecode_sound_and_metadata_are_carried_over(tmp_path, look, source):
    target = one(look, source, tmp_path)
    with av.open(str(target)) as container:
        video = container.streams.video[0]
        assert video.metadata["timecode"] == "01:02:03:04"
        assert container.metadata["title"] == "Kiln"
        assert "Plain v1" in container.metadata["comment"]
        assert video.average_rate == 24
        sound = container.streams.audio[0]
        assert float(sound.duration * sound.time_base) == pytest.approx(1.0, abs=0.01)
    with av.open(str(source)) as a, av.open(str(target)) as b:
        samples = [
            b"".join(bytes(p) for p in c.demux(c.streams.audio[0]) if p.size) for c in (a, b)
        ]
    assert samples[0] == samples[1]


def test_hdr_says_primaries_transfer_mastering_and_light_level(tmp_path, look):
    path = tmp_path / "A001.mkv"
    write_movie(path, [flat((700, 512, 512), 128, 64)] * 2)
    for suffix in (".mp4", ".mov"):
        target = one(look, path, tmp_path / "out", output="hdr", extension=suffix)
        frame = decoded(target)[0]
        assert (frame.color_primaries, frame.color_trc, frame.colorspace) == (9, 16, 9)
        side = {data.type.name: bytes(data) for data in frame.side_data}
        mastering = np.frombuffer(side["MASTERING_DISPLAY_METADATA"][:80], np.int32).reshape(-1, 2)
        values = mastering[:, 0] / mastering[:, 1]
        # BT.2020 primaries (ITU-R BT.2020-2, table 3) R G B, white D65, then luminance.
        bt2020 = [0.708, 0.292, 0.170, 0.797, 0.131, 0.046, 0.3127, 0.3290]
        assert np.allclose(values[:8], bt2020, atol=2e-5)
        assert np.allclose(values[8:10], [0.0001, 1000.0])
        most, average = np.frombuffer(side["CONTENT_LIGHT_LEVEL"], np.uint32)
        assert 0 < average <= most <= 1000
        light = look.graph.output("hdr").curve
        code = (np.median(planes(frame)[0]) - 64) / 876
        assert most == pytest.approx(100 * float(light.decode(np.array(code))), rel=0.05)


def test_a_format_without_a_place_for_the_light_level_is_told(tmp_path, look):
    path = tmp_path / "A001.mkv"
    write_movie(path, [flat((700, 512, 512), 128, 64)] * 2)
    for suffix, told in ((".mkv", True), (".mp4", False)):
        _, done = apply(look, [path], tmp_path / "out", camera="A", output="hdr", extension=suffix)
        assert not done[0].problem
        assert any("MaxCLL" in line for line in done[0].warnings) == told


def test_what_is_not_carried_over_is_told(tmp_path, look):
    (tmp_path / "words.srt").write_text("1\n00:00:00,000 --> 00:00:01,000\nKiln\n")
    path = tmp_path / "A001.mkv"
    with av.open(str(path), "w") as out, av.open(str(tmp_path / "words.srt")) as words:
        pictures = [out.add_stream("ffv1", rate=24) for _ in range(2)]
        for stream in pictures:
            stream.width, stream.height, stream.pix_fmt = 64, 32, "yuv420p"
        text = out.add_stream_from_template(words.streams[0])
        mark = {"id": 1, "start": 0, "end": 40, "time_base": Fraction(1, 1000), "metadata": {}}
        out.set_chapters([mark])
        for stream in pictures:
            out.mux(stream.encode(av.VideoFrame(64, 32, "yuv420p")))
            out.mux(stream.encode(None))
        for packet in words.demux():
            if packet.dts is not None:
                packet.stream = text
                out.mux(packet)
    planned, done = apply(look, [path], tmp_path / "out", camera="A")
    assert not done[0].problem
    for name in ("subtitles", "another picture", "chapters"):
        assert f"{path}: holds {name} too: left out" in done[0].warnings
    assert not any("other data" in line for line in planned.jobs[0].warnings)


def test_mxf_keeps_timecode_sound_metadata_and_its_job(tmp_path, look):
    source = tmp_path / "A001.mov"
    write_movie(
        source, noise(5, 256, 128), codec="prores_ks", options={"profile": "3"}, sound="pcm_s16le",
        metadata={"timecode": "01:02:03:04", "title": "Kiln"},
    )  # fmt: skip
    target = one(look, source, tmp_path / "out", extension="mxf")
    made = probe(target)
    assert (made.frames, made.rate, made.audio, made.timecode) == (5, 24, 1, "01:02:03:04")
    with av.open(str(target)) as container:
        assert container.metadata["comment_title"] == "Kiln"
        assert "Plain v1" in container.metadata["comment_comment"]
        assert [s.codec_context.name for s in container.streams if s.type != "data"] == [
            "dnxhd", "pcm_s16le",
        ]  # fmt: skip
    _, again = apply(look, [source], tmp_path / "out", camera="A", extension="mxf")
    assert again[0].kept
    # And back: what MXF holds as comments is metadata again.
    back = one(look, target, tmp_path / "back", codec="prores-422-hq")
    with av.open(str(back)) as container:
        assert container.metadata["title"] == "Kiln"


def test_mxf_refuses_frames_that_keep_their_own_times(tmp_path, look):
    path = tmp_path / "A001.mkv"
    write_movie(path, noise(4, 256, 128), times=[0, 1, 4, 5])
    planned, _ = apply(look, [path], tmp_path / "out", camera="A", extension="mxf")
    assert "variable frame rate, which .mxf does not keep" in planned.refused[0].problem


def test_mxf_is_read_with_its_timecode_and_sound(tmp_path, look):
    path = tmp_path / "A001.mxf"
    write_movie(
        path, noise(3, 256, 128), codec="dnxhd", options={"profile": "dnxhr_hqx"}, rate=25,
        sound="pcm_s16le", metadata={"timecode": "10:00:00:00"},
    )  # fmt: skip
    target = one(look, path, tmp_path / "out")
    assert target.suffix == ".mxf"
    made = probe(target)
    assert (made.frames, made.rate, made.audio) == (3, 25, 1)
    assert made.timecode == "10:00:00:00"
    assert not made.notes


@pytest.mark.parametrize(
    ("name", "codec", "form", "rate", "becomes"),
    [
        ("a.mkv", "ffv1", "yuv422p10le", 25, ".mkv"),
        ("a.mxf", "dnxhd", "yuv422p10le", 24, ".mxf"),
        ("a.mxf", "mpeg2video", "yuv420p", Fraction(30000, 1001), ".mxf"),
        ("a.webm", "libvpx-vp9", "yuv420p", 24, ".mkv"),
        ("a.avi", "ffv1", "yuv422p10le", 24, ".mp4"),
    ],
)
def test_a_result_has_the_sources_form_where_that_can_be_written_or_it_is_told(
    tmp_path, look, name, codec, form, rate, becomes
):
    path = tmp_path / name
    frames = noise(3, 256, 128)
    if form == "yuv420p":
        frames = [[(plane >> 2).astype(np.uint8) for plane in (y, u[::2], v[::2])]
                  for y, u, v in frames]  # fmt: skip
    options = {"profile": "dnxhr_hqx"} if codec == "dnxhd" else {}
    write_movie(path, frames, codec=codec, form=form, rate=rate, options=options)
    planned, done = apply(look, [path], tmp_path / "out", camera="A")
    assert not done[0].problem
    assert done[0].target.suffix == becomes
    said = any("is written as" in line for line in planned.jobs[0].warnings)
    assert said == (Path(name).suffix != becomes)


def test_variable_rates_keep_each_frames_time(tmp_path, look):
    path = tmp_path / "A001.mkv"
    write_movie(path, noise(6), rate=24, times=[0, 1, 2, 5, 9, 10])
    planned, done = apply(look, [path], tmp_path / "out", camera="A", extension=".mov")
    assert any("variable frame rate" in line for line in done[0].warnings)
    times = [float(f.pts * f.time_base) for f in decoded(done[0].target)]
    assert np.allclose(times, np.array([0, 1, 2, 5, 9, 10]) / 24, atol=1e-3)
    assert planned.jobs[0].source.variable


def test_turned_clips_come_out_upright(tmp_path, look):
    frames = noise(2, 64, 32)
    path, plain = tmp_path / "A001.mov", tmp_path / "A002.mov"
    options = {"codec": "prores_ks", "options": {"profile": "3"}}
    write_movie(plain, frames, **options)
    write_movie(path, frames, prepare=lambda stream: stream.set_display_rotation(90), **options)
    clip = probe(path)
    assert (clip.width, clip.height) == (32, 64)
    turned = planes_of(next(frames_of(clip)).picture)[0][:, :32]
    straight = planes_of(next(frames_of(probe(plain))).picture)[0][:, :64]
    assert np.array_equal(turned, np.rot90(straight, 1))
    assert decoded(one(look, path, tmp_path / "out"))[0].width == 32


def test_a_clip_becomes_numbered_pictures_with_timecode(tmp_path, look, source):
    target = one(look, source, tmp_path, extension="dpx")
    files = sorted(target.parent.glob("*.dpx"))
    assert [f.name[-8:-4] for f in files] == ["1001", "1002", "1003", "1004", "1005"]
    still = read_still(files[2])
    assert still.spec.getattribute("smpte:TimeCode")[0] == 0x01020306
    clip = probe(source)
    frame = [f for f in frames_of(clip)][2]
    matrix, offset = clip.coding.to_rgb()
    codes = np.stack([p[:, :64] / 65535 for p in planes_of(frame.picture)], -1) @ matrix.T + offset
    signal = (np.clip(codes, 0, 1) * 1023 - 64) / 876
    wanted = look.apply(signal.astype(np.float32), camera="A", output="monitor")
    assert np.abs(still.pixels - wanted).max() * 1023 <= 1.0


def test_pictures_become_a_movie_with_their_timecode(tmp_path, look, source):
    pictures = one(look, source, tmp_path / "a", extension="exr").parent
    pattern = next(pictures.glob("*1001.exr")).name.replace("1001", "####")
    refused, _ = apply(
        look, [str(pictures / pattern), "1001-1004"], tmp_path / "b", camera="A", extension="mov"
    )
    assert not refused.refused  # the pictures tell their rate
    (target,) = (tmp_path / "b").glob("*.mov")
    with av.open(str(target)) as container:
        assert container.streams.video[0].average_rate == 24
        assert container.streams.video[0].metadata["timecode"] == "01:02:03:04"
        assert container.streams.video[0].frames == 4


def test_a_recipe_that_says_legal_reads_legal_codes_as_they_are(tmp_path, source):
    from tests.media.movies import RECIPE

    text = RECIPE.replace('encoding = "LogC4"', 'encoding = "LogC4"\nrange = "legal"\nbits = 10')
    legal, plain = made_look(text), made_look()
    a = decoded(one(legal, source, tmp_path / "a"))
    b = decoded(one(plain, source, tmp_path / "b"))
    assert all(np.array_equal(*pair) for pair in zip(planes(a[0]), planes(b[0]), strict=True))


def test_a_recipe_that_contradicts_the_range_tag_warns_and_wins(source, tmp_path):
    from tests.media.movies import RECIPE

    look = made_look(RECIPE.replace('encoding = "LogC4"', 'encoding = "LogC4"\nrange = "full"'))
    planned = plan(look, [source], Options(camera="A", into=tmp_path))
    assert any("full" in line and "the recipe is followed" in line
               for line in planned.jobs[0].warnings)  # fmt: skip
    assert (planned.jobs[0].range, planned.jobs[0].signal) == ("legal", "full")


# S-Log3 movies hold the formula's own codes: 420 for an 18 % grey, 598 for 90 % (its technical
# summary), whatever their range tag; ARRI's scale theirs (common practice, no source).
@pytest.mark.parametrize("form", ["yuv422p10le", "yuv420p"])
@pytest.mark.parametrize(
    ("name", "codes"),
    [("S-Log3/S-Gamut3", (420, 598)), ("V-Log", (433, 602)), ("F-Log", (470, 705)),
     ("LogC3 EI800", (64 + 876 * 400 / 1023,))],
)  # fmt: skip
def test_log_movies_are_read_in_the_range_of_their_maker(tmp_path, name, codes, form):
    text = (
        f'schema = 1\nname = "Plain"\n[cameras.A]\nencoding = "{name}"\n'
        '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
    )
    look = made_look(text)
    bits = 10 if "10" in form else 8
    for code, reflectance in zip(codes, (0.18, 0.9), strict=False):
        path = tmp_path / "A.mkv"
        kind = np.uint16 if bits == 10 else np.uint8
        held = [round(c / 2 ** (10 - bits)) for c in (code, 512, 512)]
        write_movie(path, [flat(held, form=form, kind=kind)] * 2, form=form)
        options = Options(camera="A", into=tmp_path / "o", extension="exr", overwrite=True)
        (taken,), _ = assign(look, [path], options)
        picture = read_frame(look, taken)
        scene = look.graph.input_transform("A").evaluate(picture.code[8, 8].astype(float))
        assert scene == pytest.approx(np.full(3, reflectance), rel=0.012 if bits == 10 else 0.05)
        told = [line for line in taken.warnings if "carry their codes" in line]
        assert len(told) == (0 if name.startswith("LogC") else 1)
        (pictures,) = run(look, plan(look, [path], options))
        made = read_still(next(pictures.target.parent.glob("*.exr"))).pixels[8, 8]
        wanted = look.apply(picture.code, camera="A", output="monitor")[8, 8]
        assert np.abs(made - wanted).max() < 2e-3


def test_the_matrix_of_a_log_movie_stays_that_of_its_tag(tmp_path):
    text = (
        'schema = 1\nname = "Plain"\n[cameras.A]\nencoding = "S-Log3/S-Gamut3"\n'
        '[outputs.monitor]\noutput = "Rec.709 BT.1886"\n'
    )
    look = made_look(text)
    # R'G'B' codes of 10 bits through the legal Y'CbCr of BT.709-6 (items 3.2 to 3.4), by hand.
    rgb = np.array([500.0, 420.0, 350.0])
    luma = rgb @ [0.2126, 0.7152, 0.0722]
    blue = 512 + (rgb[2] - luma) / 1.8556 * 896 / 876
    red = 512 + (rgb[0] - luma) / 1.5748 * 896 / 876
    path = tmp_path / "A.mkv"
    write_movie(path, [flat([round(v) for v in (luma, blue, red)], form="yuv444p10le")] * 2,
                form="yuv444p10le")  # fmt: skip
    (taken,), _ = assign(look, [path], Options(camera="A"))
    assert np.abs(read_frame(look, taken).code[8, 8] * 1023 - rgb).max() <= 1.5
    (lying,), _ = assign(look, [path], Options(camera="A", range="full"))
    assert (lying.range, lying.signal) == ("full", None)


def test_a_pq_movie_is_told_by_its_tags(tmp_path):
    from tests.media.movies import RECIPE

    path = tmp_path / "A.mkv"
    write_movie(path, noise(2), tags=(9, 16, 9))
    (job,) = plan(made_look(), [path], Options(camera="B")).jobs
    assert any("tagged BT.2020 primaries, PQ transfer, but the recipe reads camera B as HLG camera"
               in line for line in job.warnings)  # fmt: skip
    look = made_look(RECIPE + '[cameras.P]\nencoding = "PQ camera"\n')
    (job,) = plan(look, [path], Options()).jobs
    assert job.camera == "P"
    assert not any("PQ" in line for line in job.warnings)
    for tags in ((12, 16, 1), (2, 16, 9), (12, 18, 9)):
        write_movie(path, noise(2), tags=tags)
        (job,) = plan(look, [path], Options(camera="C")).jobs
        assert any("but the recipe reads camera C" in line for line in job.warnings)


def test_a_head_that_says_another_colour_than_the_pictures_is_told(tmp_path):
    path = tmp_path / "A.mp4"
    grey = flat((105, 128, 128), form="yuv420p", kind=np.uint8)
    write_movie(path, [grey] * 3, codec="libx264", form="yuv420p", full=True)
    assert not probe(path).notes
    data = bytearray(path.read_bytes())
    # ISO/IEC 14496-12, 12.1.5: primaries, transfer and matrix of 16 bits each, then full or not.
    at = data.index(b"colrnclx") + 8
    data[at : at + 7] = bytes([0, 9, 0, 16, 0, 9, 0])
    path.write_bytes(data)
    clip = probe(path)
    (note,) = clip.notes
    assert note.startswith(
        "its head is tagged BT.2020 primaries, PQ transfer, bt2020 matrix, legal"
    )
    assert "its pictures BT.709 primaries, BT.709 transfer, bt709 matrix, full range" in note
    assert (clip.coding.matrix, clip.coding.range) == ("bt709", "full")


def test_rgb_that_is_tagged_legal_is_told(tmp_path, look):
    path = tmp_path / "A.mkv"
    grey = flat((420, 420, 420), form="gbrp10le")
    for full, count in ((False, 1), (True, 0)):
        write_movie(path, [grey] * 2, form="gbrp10le", tags=(2, 2, 0), full=full)
        (taken,), _ = assign(look, [path], Options(camera="A"))
        assert len([line for line in taken.warnings if "--range full takes" in line]) == count
        (taken,), _ = assign(look, [path], Options(camera="C"))  # An encoding of legal range.
        assert not any("--range full" in line for line in taken.warnings)
    # Codes 64 to 940 are read as 0 to 1 (ITU-R BT.709-6, 5.6), or as they stand.
    write_movie(path, [grey] * 2, form="gbrp10le", tags=(2, 2, 0))
    for span, code in ((None, (420 - 64) / 876), ("full", 420 / 1023)):
        options = Options(camera="A", range=span, into=tmp_path / str(span), extension="exr")
        (job,) = plan(look, [path], options).jobs
        assert any("--range full" in line for line in job.warnings) is (span is None)
        (done,) = run(look, plan(look, [path], options))
        made = read_still(next(done.target.parent.glob("*.exr"))).pixels[8, 8]
        wanted = look.apply(np.full((1, 1, 3), code), camera="A", output="monitor")[0, 0]
        assert np.abs(made - wanted).max() < 1e-3


def test_a_range_tag_that_changes_within_a_movie_ends_its_job(tmp_path, look):
    grey = [flat((105, 128, 128), form="yuv420p", kind=np.uint8)] * 3
    parts = []
    for full in (True, False):
        write_movie(tmp_path / "part.ts", grey, codec="libx264", form="yuv420p", full=full)
        parts.append((tmp_path / "part.ts").read_bytes())
    path = tmp_path / "A.ts"
    path.write_bytes(b"".join(parts))
    (done,) = run(look, plan(look, [path], Options(camera="A", into=tmp_path / "o")))
    assert "frame 4 is tagged legal range, the frames before it full" in done.problem
    assert not list((tmp_path / "o").glob("*"))


def test_rates_of_broadcast_are_exact(tmp_path):
    for rate in (Fraction(24000, 1001), Fraction(25), Fraction(60000, 1001)):
        path = tmp_path / "x.mkv"
        write_movie(path, noise(4), rate=rate)
        assert probe(path).rate == rate
        assert not probe(path).variable


def test_the_source_is_never_touched(tmp_path, look, source):
    before = Path(source).read_bytes()
    one(look, source, tmp_path)
    assert Path(source).read_bytes() == before
