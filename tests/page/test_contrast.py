"""Words and lines of the page and of a proof stand out from what they stand on."""

import re
from importlib.resources import files

import pytest

# W3C WCAG 2.1: 4.5 to 1 for text (1.4.3), 3 to 1 for what a control is known by (1.4.11).
PAIRS = {
    "static/page.css": [
        *((ink, on, 4.5) for ink in ("ink", "quiet") for on in ("paper", "head")),
        *((ink, "wall", 4.5) for ink in ("ink", "quiet-wall")),
        *((ink, on, 4.5) for ink in ("bad",) for on in ("paper", "head")),
        *((ink, "paper", 4.5) for ink in ("red", "green", "blue")),
        ("scale", "paper", 3.0),
        ("scale-wall", "wall", 3.0),
    ],
    "proof/proof.css": [("ink", "wall", 4.5), ("mute", "wall", 4.5), ("ink", "field", 4.5)],
}


def luminance(code: str) -> float:
    # Relative luminance of WCAG 2.1.
    whole = code if len(code) == 7 else "#" + "".join(2 * one for one in code[1:])
    parts = [int(whole[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    light = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * light[0] + 0.7152 * light[1] + 0.0722 * light[2]


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("name", PAIRS)
def test_words_and_scales_stand_out(name, theme):
    style = files("lookkit.page").joinpath(name).read_text(encoding="utf-8")
    block = re.findall(r":root \{(.*?)\}", style, re.DOTALL)[theme]
    colours = dict(re.findall(r"--([\w-]+): (#\w+)", block))
    for ink, on, least in PAIRS[name]:
        low, high = sorted((luminance(colours[ink]), luminance(colours[on])))
        assert (high + 0.05) / (low + 0.05) >= least, (ink, on)
