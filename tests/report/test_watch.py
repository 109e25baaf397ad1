"""`sheet --watch` draws anew when the recipe, what it names, or the frames change."""

import os
import subprocess
import sys
import time

import numpy as np

from lookkit.media.stills import write_still
from lookkit.report.watch import changes, stamp_of

RECIPE = """
schema = 1
name = "Watched"
extends = "base.toml"
[cameras.A]
encoding = "ACEScct"
[outputs.web]
output = "sRGB"
[[shots]]
match = "*"
camera = "A"
"""


def film(folder):
    (folder / "base.toml").write_text('schema = 1\nname = "Base"\n')
    (folder / "film.toml").write_text(RECIPE)
    (folder / "card").mkdir()
    frame = np.full((9, 16, 3), 0.41, np.float32)
    write_still(folder / "card" / "a.tif", frame, None, bits=16)
    return folder / "film.toml"


def test_recipe_what_it_extends_and_frames_count_and_the_sheet_does_not(tmp_path):
    recipe, sheet = film(tmp_path), tmp_path / "card" / "sheet.png"
    card = [str(tmp_path / "card")]
    before = stamp_of([recipe], card, sheet)
    sheet.write_bytes(b"drawn")
    assert stamp_of([recipe], card, sheet) == before
    for path in (recipe, tmp_path / "base.toml", tmp_path / "card" / "a.tif"):
        os.utime(path, ns=(1, path.stat().st_mtime_ns + 1))
        now = stamp_of([recipe], card, sheet)
        assert now != before
        before = now
    (tmp_path / "card" / "b.tif").write_bytes(b"new")
    assert stamp_of([recipe], card, sheet) != before


def test_a_change_is_told_once_when_the_files_are_at_rest(tmp_path, monkeypatch):
    recipe = film(tmp_path)
    slept = []

    def sleep(seconds):
        slept.append(seconds)
        if len(slept) in (2, 3):
            recipe.write_text(f"{RECIPE}# {len(slept)}\n")

    monkeypatch.setattr("lookkit.report.watch.time.sleep", sleep)
    next(changes([recipe], [str(tmp_path / "card")], tmp_path / "sheet.png"))
    # Seen at the second look, still changing at the third, at rest at the fourth.
    assert len(slept) == 4


def test_a_watched_sheet_is_drawn_again_and_outlives_a_mistake(tmp_path):
    recipe, sheet = film(tmp_path), tmp_path / "sheet.png"
    code = "from lookkit.cli import main; main()"
    words = [sys.executable, "-c", code, "sheet", str(recipe), str(tmp_path / "card"), "-o",
             str(sheet), "--watch"]  # fmt: skip
    with subprocess.Popen(words, stderr=subprocess.PIPE, text=True) as running:
        try:
            _told(running, "watching")
            first = sheet.read_bytes()
            recipe.write_text(RECIPE.replace("ACEScct", "ACEScc9"))
            assert "unknown encoding 'ACEScc9'" in _told(running, "watching")
            assert sheet.read_bytes() == first
            recipe.write_text(RECIPE.replace("ACEScct", "LogC4"))
            _told(running, "watching")
            assert sheet.read_bytes() != first
        finally:
            running.terminate()


def _told(running, word):
    """Return what it says up to a line with a word."""
    said = ""
    limit = time.monotonic() + 120
    while time.monotonic() < limit:
        line = running.stderr.readline()
        said += line
        if word in line or not line:
            return said
    raise AssertionError(said)
