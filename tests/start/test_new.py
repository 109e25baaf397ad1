"""A folder of footage becomes a recipe that works at once and guesses nothing silently."""

from fractions import Fraction

import numpy as np
import OpenImageIO as oiio
import pytest
from click.testing import CliRunner

from lookkit.cli.new import command
from lookkit.errors import InputError, UnknownNameError
from lookkit.look import load, loads
from lookkit.media.jobs import Options, assign
from lookkit.report.describe import describe
from lookkit.report.frames import graded_frames
from lookkit.start import start
from lookkit.start.footage import read_footage
from tests.media.movies import flat, noise, write_movie


def photo(path, when="", model="", serial="", level=0.4, bits="uint8", colour=1):
    path.parent.mkdir(parents=True, exist_ok=True)
    spec = oiio.ImageSpec(48, 27, 3, bits)
    if when:
        spec.attribute("Exif:DateTimeOriginal", when)
    if model:
        spec.attribute("Make", "Invented")
        spec.attribute("Model", model)
    if serial:
        spec.attribute("Exif:BodySerialNumber", serial)
    if colour:
        spec.attribute("Exif:ColorSpace", colour)
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), spec)
    level = np.broadcast_to(level, 3)
    draw = np.random.default_rng(1).uniform(0.5, 1.0, (27, 48, 1))
    out.write_image(np.asarray(draw * level, np.float32))
    out.close()
    return path


@pytest.fixture
def card(tmp_path):
    folder = tmp_path / "card"
    folder.mkdir()
    for number, minute in enumerate((0, 3, 7)):
        photo(folder / f"S00{number}.jpg", f"2026:05:01 09:{minute:02d}:00", "Still One", "77")
    photo(folder / "S009.jpg", "2026:05:01 14:00:00", "Still One", "77")
    plain = [flat((120, 128, 128), form="yuv422p", kind=np.uint8)] * 3
    write_movie(folder / "B001C001.mkv", plain, tags=(1, 1, 1), form="yuv422p")
    write_movie(folder / "B001C002.mkv", plain, tags=(1, 1, 1), form="yuv422p")
    write_movie(folder / "X1.mkv", noise(3), tags=(2, 2, 2))
    return folder


def test_what_is_written_loads_and_sheet_and_check_take_it(tmp_path, card):
    target = tmp_path / "film.toml"
    done = CliRunner().invoke(command, [str(card), "-o", str(target), "--look", "lamp-night"])
    assert done.exit_code == 0, done.output
    assert done.output.splitlines()[-1] == f"next: lookkit sheet {target} {card} -o sheet.png"
    look = load(target)
    assert look.recipe.show == "card"
    assert "nothing is wrong with it" in describe(look)
    taken, refused = assign(look, [card], Options())
    assert (len(taken), refused) == (7, [])
    frames = graded_frames(look, [card])
    assert len(frames.frames) == 7
    assert {row.label for row in frames.rows} == set(look.scenes)
    again = CliRunner().invoke(command, [str(card), "-o", str(target)])
    assert again.exit_code == 1
    assert isinstance(again.exception, InputError)


def test_files_are_grouped_into_cameras_by_what_they_say(card):
    made = start(card)
    named = {camera.name: camera for camera in made.cameras}
    # The reel's letter names a camera; the others take the letters that are left.
    assert [take.name for take in named["B"].takes] == ["B001C001.mkv", "B001C002.mkv"]
    assert named["B"].encoding == "BT.709 camera"
    stills = next(one for one in made.cameras if one.first.kind == "still")
    assert (stills.encoding, len(stills.takes)) == ("sRGB", 4)
    assert stills.first.device == "Invented Still One"
    assert stills.first.recorded.minute == 0


def test_what_a_file_does_not_say_is_asked_and_never_guessed(card):
    made = start(card)
    (question,) = made.questions
    assert "What do the codes of these files mean (no colour tags)?" in question
    assert "# ? What do the codes" in made.text
    assert 'encoding = "BT.709 camera"   # a stand-in' in made.text


def test_a_deep_clip_that_is_tagged_as_video_may_be_log_and_is_asked_about(tmp_path):
    write_movie(tmp_path / "a.mkv", noise(2), tags=(1, 1, 1))
    (question,) = start(tmp_path).questions
    assert "was a log set?" in question


def test_scenes_are_proposed_from_pauses_and_light(card):
    made = start(card)
    stills = [[take.name for take in scene.takes] for scene in made.scenes]
    assert stills[:2] == [["S000.jpg", "S001.jpg", "S002.jpg"], ["S009.jpg"]]
    assert made.scenes[1].why == "5 hours after the one before"
    assert "no time of recording" in made.scenes[2].why
    assert any("3 of 7 files say no time" in line for line in made.told)


def test_a_short_pause_with_another_light_is_another_scene_and_without_it_is_not(tmp_path):
    photo(tmp_path / "p1.jpg", "2026:05:01 09:00:00", level=(0.6, 0.5, 0.4))
    photo(tmp_path / "p2.jpg", "2026:05:01 09:15:00", level=(0.6, 0.5, 0.4))
    photo(tmp_path / "p3.jpg", "2026:05:01 09:30:00", level=(0.4, 0.5, 0.7))
    made = start(tmp_path)
    assert [len(scene.takes) for scene in made.scenes] == [2, 1]
    assert "the light has another colour" in made.scenes[1].why


def test_two_cameras_of_one_kind_are_told_apart_by_serial_and_else_asked_about(tmp_path):
    for number in (1, 2):
        photo(tmp_path / f"L{number}.jpg", model="Twin", serial="1")
        photo(tmp_path / f"R{number}.jpg", model="Twin", serial="2")
    assert len(start(tmp_path).cameras) == 2
    for path in tmp_path.glob("*.jpg"):
        photo(path, model="Twin")
    made = start(tmp_path)
    assert len(made.cameras) == 1
    assert any("two cameras of one kind" in line for line in made.questions)


def test_a_log_that_a_file_names_is_taken(tmp_path):
    write_movie(
        tmp_path / "a.mkv", noise(2), tags=(1, 1, 1), metadata={"comment": "recorded in V-Log"}
    )
    (camera,) = start(tmp_path).cameras
    assert camera.encoding == "V-Log"
    assert "says 'recorded in V-Log'" in camera.first.said


def test_bad_files_are_told_each_in_a_line_and_the_rest_goes_on(card):
    (card / "broken.mov").write_bytes(b"no movie")
    (card / "empty.jpg").write_bytes(b"")
    (card / "notes.txt").write_text("hello")
    photo(card / "slate.jpg", level=0.0)
    photo(card / "log-slate.jpg", level=0.0928)  # black of LogC4, S-Log3 and others
    photo(card / "burnt.jpg", level=9.0)
    made = start(card)
    for told in (
        "broken.mov: cannot be read", "empty.jpg", "slate.jpg: its first picture is black",
        "log-slate.jpg: its first picture is black",
        "burnt.jpg: 100% of its first picture is clipped", "1 file is neither",
    ):  # fmt: skip
        assert any(told in line for line in made.told), (told, made.told)
    assert sum(len(camera.takes) for camera in made.cameras) == 10


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda folder: None, "holds no movie and no picture that can be read"),
        (lambda folder: folder.rmdir(), "does not exist, expected a folder of footage"),
        (lambda folder: (folder / "a.mov").write_bytes(b"x"), "a.mov: cannot be read"),
    ],
)
def test_a_folder_without_footage_is_refused(tmp_path, make, told):
    folder = tmp_path / "card"
    folder.mkdir()
    make(folder)
    with pytest.raises(InputError, match=told):
        start(folder)


def test_an_unknown_look_is_refused_with_the_nearest(card):
    with pytest.raises(UnknownNameError, match="did you mean 'warm-print'"):
        start(card, look="warm-prnt")


def test_more_files_than_a_film_has_are_told(tmp_path, monkeypatch):
    from lookkit.start import footage

    monkeypatch.setattr(footage, "MOST", 3)
    monkeypatch.setattr(footage, "_LOOKED_AT", 2)
    for number in range(5):
        photo(tmp_path / f"p{number}.jpg")
    found = read_footage(tmp_path)
    assert len(found.takes) == 3
    assert sum(take.light is not None for take in found.takes) == 2
    assert "holds 5 clips and stills; the first 3 by name are taken" in found.faults[0]


def test_names_and_words_from_files_cannot_break_the_recipe(tmp_path):
    folder = tmp_path / "cl\u00e9 [1]"
    photo(folder / 'a"b [x].jpg', model="Two\nLines\x07")
    photo(folder / "# c.jpg", model="Two\nLines\x07")
    made = start(folder)
    look = loads(made.text)
    taken, refused = assign(look, [folder], Options())
    assert (len(taken), refused) == (2, [])


def test_a_numbered_sequence_is_one_take(tmp_path):
    for number in range(1001, 1005):
        photo(tmp_path / f"plate.{number}.tif", bits="uint16", colour=0)
        photo(tmp_path / f"shot.{number}.dpx", bits="uint16", colour=0)
    made = start(tmp_path)
    names = {take.name: take.frames for camera in made.cameras for take in camera.takes}
    assert names["shot.####.dpx"] == 4
    taken, refused = assign(loads(made.text), [tmp_path], Options())
    assert refused == []
    assert Fraction(len(taken)) > 0


def test_a_sheet_of_a_card_names_its_files_and_leaves_out_what_cannot_be_read(card):
    look = loads(start(card).text)
    (card / "broken.mkv").write_bytes(b"no movie")
    made = graded_frames(look, [card])
    assert len(made.frames) == 7
    assert "broken.mkv" in made.warnings[0]
    captions = {cell.caption for row in made.rows for cell in row.cells}
    assert any(caption.endswith("as recorded: S000.jpg") for caption in captions)
    with pytest.raises(InputError, match=r"broken.mkv"):
        graded_frames(look, [card / "broken.mkv", card])
