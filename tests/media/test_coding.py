"""Y'CbCr to R'G'B' and back, against the standards and against FFmpeg."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.media.coding import MATRICES, Coding
from tests.media.movies import av, planes_of

codings = st.builds(
    Coding,
    st.sampled_from(MATRICES),
    st.sampled_from(["full", "legal"]),
    st.sampled_from([8, 10, 12]),
)


def rgb_codes(coding, codes):
    matrix, offset = coding.to_rgb()
    return (np.asarray(codes) * 2 ** (16 - coding.bits) / 65535 @ matrix.T + offset) * coding.top


# 75 % and 100 % bars, 10 bits: the codes that BT.709's equations give, rounded (ITU-R BT.709-6,
# items 3.2-3.4).
@pytest.mark.parametrize(
    ("codes", "rgb"),
    [
        ((940, 512, 512), (940, 940, 940)), ((64, 512, 512), (64, 64, 64)),
        ((721, 512, 512), (721, 721, 721)), ((674, 176, 543), (721, 721, 64)),
        ((581, 589, 176), (64, 721, 721)), ((534, 253, 207), (64, 721, 64)),
        ((251, 771, 817), (721, 64, 721)), ((204, 435, 848), (721, 64, 64)),
        ((111, 848, 481), (64, 64, 721)), ((1019, 512, 512), (1019, 1019, 1019)),
    ],
)  # fmt: skip
def test_colour_bars_become_their_codes_within_one(codes, rgb):
    assert np.abs(rgb_codes(Coding("bt709", "legal", 10), codes) - rgb).max() <= 1.0


@given(codings, st.lists(st.floats(0, 1), min_size=3, max_size=3))
def test_both_ways_is_the_identity(coding, values):
    matrix, offset = coding.to_rgb()
    back, shift = coding.from_rgb()
    assert np.allclose(back @ (matrix @ values + offset) + shift, values, atol=1e-12)


@given(codings, st.floats(0, 1))
def test_grey_is_grey(coding, level):
    code = np.round(level * coding.top)
    middle = code if coding.matrix == "rgb" else (coding.top + 1) / 2
    assert np.allclose(rgb_codes(coding, (code, middle, middle)), code, atol=1e-9)


@pytest.mark.parametrize(("matrix", "tag"), [("bt709", 1), ("bt601", 5), ("bt2020", 9)])
@pytest.mark.parametrize("full", [False, True])
def test_the_matrix_is_that_of_ffmpeg(matrix, tag, full):
    random = np.random.default_rng(3)
    picture = av.VideoFrame(64, 32, "yuv444p10le")
    coding = Coding(matrix, "full" if full else "legal", 10)
    codes = random.integers((300, 450, 450), (700, 570, 570), (32, 64, 3))
    for plane, values in zip(planes_of(picture), np.moveaxis(codes, -1, 0), strict=True):
        plane[:, :64] = values
    picture.colorspace, picture.color_range = tag, 2 if full else 1
    made = picture.reformat(format="gbrp10le", src_colorspace=tag, dst_colorspace=tag)
    theirs = np.stack([p[:, :64] for p in planes_of(made)], -1).astype(int)
    ours = rgb_codes(coding, codes)
    # libswscale writes the white of legal range as 1020, 255 in 8 bits made wider.
    ours = ours if full else (ours - 64) * 1020 / 876
    assert np.abs(np.rint(ours) - theirs).max() <= 1
