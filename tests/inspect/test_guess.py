"""What a LUT seems made for, on LUTs whose purpose is known: built from the tables."""

from itertools import product

import numpy as np
import pytest

import lookkit
from lookkit.accuracy.sampling import grid
from lookkit.inspect.function import Function
from lookkit.inspect.guess import guesses
from lookkit.inspect.tone import tone_of
from lookkit.spaces.encodings import encoding, encodings
from lookkit.spaces.outputs import output
from lookkit.spaces.ranges import limits
from tests.inspect.luts import curves, function

CODES = np.repeat(np.linspace(0.0, 1.0, 1024)[:, None], 3, axis=1)
"""Greys are enough: purpose is judged by the grey ramp."""
BLACK, WHITE = (code / 1023 for code in limits("legal", 10))
CAMERA_LOGS = [
    name
    for name, one in encodings().items()
    # Film scans, monitoring links and wide exchange encodings are no camera's.
    if one.is_log
    and not name.startswith(("ADX", "Printing", "ACESproxy", "ACEScc"))
    # White at the last code, as on a display: greys do not tell these from one.
    and one.encode(np.ones(3)).max() < 0.9
]


def print_of(light, contrast: float):
    """A simple print: mid-grey to a tenth of white, smooth shoulder."""
    exposed = (np.maximum(light, 0.0) / 0.18) ** contrast * 0.1
    return exposed / (exposed + 0.9)


def first_guess(made: Function) -> dict[str, str]:
    return {guess.about: next(iter(guess.likelihood)) for guess in guesses(made)}


def log_luts():
    for name, screen, signal_range, contrast in product(
        CAMERA_LOGS, ("Rec.709 BT.1886", "sRGB"), ("full", "legal"), (1.3, 1.6)
    ):
        shown = output(screen).delivered(range=signal_range)
        picture = shown.encode(print_of(encoding(name).decode(CODES), contrast))
        yield name, signal_range, curves(picture)


def display_luts():
    for strength, lift, takes, gives in product(
        (1.0, 1.15, 1.3), (0.0, 0.02), ("full", "legal"), ("full", "legal")
    ):
        if (strength, lift, takes, gives) == (1.0, 0.0, "full", "full"):
            continue
        x = CODES if takes == "full" else np.clip((CODES - BLACK) / (WHITE - BLACK), 0, 1)
        y = x**strength / (x**strength + (1 - x) ** strength)
        y = y * (1 - lift) + lift
        yield takes, gives, curves(y if gives == "full" else BLACK + y * (WHITE - BLACK))


def test_most_camera_log_luts_are_known_for_what_they_are():
    right = {"input": 0, "output": 0, "output range": 0}
    total = 0
    for _, signal_range, made in log_luts():
        found = first_guess(made)
        total += 1
        right["input"] += found["input"] == "log"
        right["output"] += found["output"] == "display"
        right["output range"] += found.get("output range") == signal_range
    assert total > 150
    assert right["input"] >= 0.95 * total
    assert right["output"] == total
    assert right["output range"] == total


def test_most_display_luts_are_known_for_what_they_are():
    right = {"input": 0, "output": 0, "output range": 0, "input range": 0}
    total = 0
    for takes, gives, made in display_luts():
        found = first_guess(made)
        total += 1
        right["input"] += found.get("input") == "display"
        right["output"] += found.get("output") == "display"
        right["output range"] += found.get("output range") == gives
        right["input range"] += found.get("input range") == takes
    assert total > 20
    assert all(count >= 0.9 * total for count in right.values()), (right, total)


CAMERAS = """
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "S-Log3/S-Gamut3.Cine"
[outputs.full]
output = "Rec.709 BT.1886"
range = "full"
[outputs.legal]
output = "Rec.709 BT.1886"
range = "legal"
"""


@pytest.mark.parametrize("name", lookkit.shipped_looks())
def test_the_shipped_looks_are_known_for_what_they_are(name, tmp_path):
    # A print's black is no black signal: full range must not be taken for legal.
    text = lookkit.shipped_looks()[name].read_text(encoding="utf-8")
    recipe = tmp_path / "look.toml"
    recipe.write_text(f'show = "Pottery"\n{text}{CAMERAS}', encoding="utf-8")
    look = lookkit.load(recipe)
    for camera, shown in product(look.cameras, look.outputs):
        found = first_guess(function(look.cube(camera=camera, output=shown, size=17)))
        wanted = {"input": "log", "output": "display", "output range": shown}
        assert found == wanted, (camera, shown)


def test_log_to_log_and_linear_to_display_are_known():
    # A look that stays in log: black stays at 95 of 1023 (S-Log3's technical summary).
    look = 6.0 * print_of(encoding("S-Log3/S-Gamut3").decode(CODES), 1.2)
    to_log = encoding("S-Log3/S-Gamut3").encode(look)
    assert first_guess(curves(to_log))["output"] == "log"
    shown = output("Rec.709 BT.1886")
    linear = curves(shown.encode(print_of(CODES, 1.3)))
    assert first_guess(linear)["input"] == "scene-linear"


@pytest.mark.parametrize("made", [grid(5), np.zeros((5, 5, 5, 3)), 1 - grid(5), grid(5) * 50])
def test_a_lut_that_says_nothing_is_not_guessed_at(made):
    assert guesses(function(made)) == ()


def test_a_step_is_not_guessed_at():
    step = (np.arange(65536) > 30000).astype(float)
    assert guesses(curves(np.repeat(step[:, None], 3, axis=1))) == ()


def test_likelihoods_sum_to_one():
    for _, _, made in [*log_luts()][::20]:
        for guess in guesses(made):
            assert sum(guess.likelihood.values()) == pytest.approx(1)


@pytest.mark.parametrize("made_for", ["full", "legal"])
@pytest.mark.parametrize("name", CAMERA_LOGS[::4])
def test_the_range_of_a_known_encoding_is_told_from_the_greys(name, made_for):
    camera = encoding(name)
    shown = output("Rec.709 BT.1886")
    ramp = shown.encode(print_of(camera.decode(CODES, range=made_for), 1.6))
    tone = tone_of(curves(ramp), camera, shown)
    likely = next(iter(tone.input_range.likelihood))
    assert likely == made_for


def test_greys_land_where_the_encoding_and_the_screen_say():
    # A LUT that is the exact chain: mid-grey to a tenth of 100 cd/m2.
    camera, shown = encoding("LogC4"), output("Rec.709 BT.1886")
    made = function(shown.encode(print_of(camera.decode(grid(65)), 1.3)))
    tone = tone_of(made, camera, shown)
    grey = next(one for one in tone.greys if one.stops == 0)
    # LogC4 of 18 %: 0.278396 (the maker's equation).
    assert grey.code == pytest.approx(0.278396, abs=1e-5)
    assert grey.light == pytest.approx(10.0, rel=0.005)
    assert tone.beyond == ()
    lights = [one.light for one in tone.greys]
    assert lights == sorted(lights)
