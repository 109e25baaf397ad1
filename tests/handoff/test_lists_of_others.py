"""Edit decision lists with looks and reels as other systems write them."""

import re

import pytest

from lookkit.handoff.timeline.edl import annotated, events

EVENT = "001  {}  {}     C        01:00:10:00 01:00:12:00 00:00:00:00 00:00:02:00\n"


@pytest.mark.parametrize("mark", ["", "*", "* "])
@pytest.mark.parametrize("colon", ["", ":"])
def test_a_look_without_an_asterisk_is_replaced_and_not_doubled(mark, colon):
    """ASC CDL 1.2 writes the lines with an asterisk; common practice without too, no source."""
    text = "TITLE: X\n" + EVENT.format("A001C003", "V") + (
        f"{mark}ASC_SOP{colon} (0.9 1.2 0.6)(0.1 -0.03 0)(1.25 1.0 1.0)\n{mark}ASC_SAT{colon} 0.5\n"
        "* A NOTE THAT STAYS\n"
    )  # fmt: skip
    made = annotated(text, {0: ["*ASC_SOP (1 1 1)(0 0 0)(1 1 1)", "*ASC_SAT 1"]})
    assert len(re.findall("ASC_SOP", made)) == len(re.findall("ASC_SAT", made)) == 1
    assert "(0.9 1.2 0.6)" not in made
    assert "* A NOTE THAT STAYS" in made


@pytest.mark.parametrize(
    ("reel", "channels", "picture"),
    [
        ("A001 C003", "V", True),
        ("MY REEL 12", "V", True),
        ("ROLL A2", "V", True),
        ("ROLL B", "B", True),
        ("A001 C003", "AA/V", True),
        ("A001 C003", "A2", False),
        ("MUSIC V2", "A", False),
        ("A001C003", "NONE", False),
        ("A001C003", "V2", True),
        ("A001C003", "A1V", True),
    ],
)
def test_a_reel_with_blanks_is_a_reel(reel, channels, picture):
    (event,) = events(EVENT.format(reel, channels))
    assert event.picture is picture
    assert event.names == (reel,)
