"""Lattice pictures: FFmpeg's haldclut, which we did not write, reads them as the graph."""

import hashlib

import numpy as np
import pytest

from lookkit.accuracy.difference import delta_e_2000
from lookkit.accuracy.samples import CodeSpace, audit_sets
from lookkit.accuracy.truth import Light
from lookkit.deliver import stills
from lookkit.errors import LookkitError
from lookkit.evaluate import evaluate
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import output

AS_DELIVERED = True

PLAIN = """
schema = 1
name = "Warm print"
[cameras.A]
encoding = "LogC4"
[[look]]
kind = "lift-gamma-gain"
gain = { hue = 40.0, strength = 0.03 }
[[look]]
kind = "saturation"
saturation = 0.9
[outputs.monitor]
output = "Rec.709 BT.1886"
"""
WITH_CAMERA = (
    PLAIN
    + """
[cameras.C]
encoding = "sRGB"
[[cameras.C.trims]]
kind = "exposure"
stops = 0.5
[scenes.kiln]
[[scenes.kiln.trims]]
kind = "exposure"
stops = -1.0
[outputs.web]
output = "sRGB"
[deliver]
scenes = ["kiln"]
"""
)


def look_of(text):
    return Look(parse_recipe(text), text)


def haldclut(picture, pixels):
    """What FFmpeg's haldclut makes of 16-bit pixels, shape (rows, columns, 3)."""
    av = pytest.importorskip("av")
    frames = (
        av.VideoFrame.from_ndarray(pixels, format="rgb48le"),
        next(av.open(str(picture)).decode(video=0)).reformat(format="rgb48le"),
    )
    graph = av.filter.Graph()
    lattice, sink = graph.add("haldclut", "interp=tetrahedral"), graph.add("buffersink")
    buffers = []
    for place, frame in enumerate(frames):
        size = f"video_size={frame.width}x{frame.height}"
        buffers.append(graph.add("buffer", f"{size}:pix_fmt=rgb48le:time_base=1/25"))
        buffers[-1].link_to(lattice, 0, place)
        frame.pts = 0
    lattice.link_to(sink)
    graph.configure()
    for buffer, frame in zip(buffers, frames, strict=True):
        buffer.push(frame)
        buffer.push(None)
    return sink.pull().to_ndarray(format="rgb48le")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    look = look_of(PLAIN)
    folder = tmp_path_factory.mktemp("stills")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stills, "LEVEL", 6)  # the level delivered takes many times as long
        return look, stills.write_still(look, None, None, folder)


def test_the_layout_is_the_identity_lattice_that_others_make(tmp_path):
    """FFmpeg's own haldclutsrc draws the identity of level 8 (its documentation)."""
    av = pytest.importorskip("av")
    steps = np.linspace(0.0, 1.0, stills.LEVEL**2)
    identity = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    path = tmp_path / "identity.png"
    stills.write_picture(identity, path, "identity")
    graph = av.filter.Graph()
    source, sink = graph.add("haldclutsrc", "level=8"), graph.add("buffersink")
    shape = graph.add("format", "rgb48le")
    source.link_to(shape)
    shape.link_to(sink)
    graph.configure()
    theirs = sink.pull().to_ndarray(format="rgb48le").astype(int)
    ours = next(av.open(str(path)).decode(video=0)).to_ndarray(format="rgb48le").astype(int)
    assert ours.shape == theirs.shape == (512, 512, 3)
    assert np.abs(ours - theirs).max() <= 257


def test_haldclut_shows_a_photograph_as_the_graph_does(made):
    look, one = made
    space = CodeSpace(encoding("sRGB").encode, encoding("sRGB").decode)
    codes = audit_sets(space, seed=77)["image-like"][:16384]
    pixels = np.rint(codes * 65535).astype(np.uint16).reshape(128, 128, 3)
    found = haldclut(one.path, pixels).reshape(-1, 3) / 65535.0
    aim = evaluate(stills.chain(look, None), pixels.reshape(-1, 3) / 65535.0)
    target = output("sRGB")
    to_xyz = 100.0 * target.limiting.to_xyz().T
    light = Light(lambda signal: target.decode(signal) @ to_xyz)
    wrong = delta_e_2000(light.lab(aim), light.lab(found))
    assert wrong.mean() <= 1.1 * one.figures["tetrahedral"]["image-like mean"] + 0.01
    assert np.quantile(wrong, 0.999) <= 1.3 * one.figures["tetrahedral"]["image-like 99.9 %"]
    assert one.figures["tetrahedral"]["image-like 99.9 %"] <= 1.0


def test_it_is_certified_as_it_was_written_in_16_bits(made):
    _, one = made
    assert one.path.with_name(one.path.name + ".txt").exists()
    assert "read tetrahedral" in one.accuracy[0]
    lattice = stills.read_picture(one.path)
    assert lattice.shape == (36, 36, 36, 3)
    assert np.array_equal(np.rint(lattice * 65535) / 65535, lattice)


def test_the_photographs_white_comes_out_brighter_than_read_plainly(made):
    """Our own choice: highlights are opened, mid-grey stays."""
    look, _ = made
    white, grey = np.ones((1, 3)), encoding("sRGB").encode(np.full((1, 3), 0.18))
    opened, (plain, *rest) = stills.chain(look, None), stills.chain(look, None)
    unopened = (plain, *rest[1:])
    assert evaluate(opened, white).min() > evaluate(unopened, white).min() + 0.08
    np.testing.assert_allclose(evaluate(opened, grey), evaluate(unopened, grey), atol=1e-9)


def test_a_recipes_own_srgb_camera_and_output_are_taken():
    look = look_of(WITH_CAMERA)
    assert stills.cameras(look) == ["C"]
    assert stills.shown_on(look)[0] == "web"
    codes = np.random.default_rng(1).random((100, 3))
    for scene in (None, "kiln"):
        exact = look.evaluate(codes, camera="C", output="web", scene=scene)
        np.testing.assert_allclose(evaluate(stills.chain(look, "C", scene), codes), exact)
    assert len(stills.jobs(look)) == 2


def test_a_picture_is_the_same_bytes_every_time(tmp_path):
    lattice = np.random.default_rng(0).random((16, 16, 16, 3))
    sums = set()
    for name in ("a.png", "b.png"):
        stills.write_picture(lattice, tmp_path / name, "x")
        sums.add(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
    assert len(sums) == 1
    np.testing.assert_allclose(stills.read_picture(tmp_path / "a.png"), lattice, atol=0.6 / 65535)


def test_what_is_no_lattice_picture_is_refused(tmp_path):
    path = tmp_path / "x.png"
    path.write_bytes(b"no picture")
    with pytest.raises(LookkitError, match="no picture of the 3D LUT"):
        stills.read_picture(path)
