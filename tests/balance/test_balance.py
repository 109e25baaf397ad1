"""Shots of a scene are made to agree by what they share; where nothing is shared, nothing is."""

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

pytest.importorskip("cv2")

from lookkit.balance import Wanted, balance, write_trims
from lookkit.balance.gains import Trim, gain_of, trim_of
from lookkit.balance.join import joined
from lookkit.balance.pair import compare
from lookkit.balance.picks import parse_pick
from lookkit.balance.view import made_view
from lookkit.balance.write import with_trims
from lookkit.cli.balance import command
from lookkit.errors import InputError
from lookkit.evaluate import Runner
from lookkit.look import load
from lookkit.recipe.shots import pattern_of
from tests.balance.film import RECIPE, code_of, framed, gained, shoot, wall

WALL = wall(1)
OFF = np.array([0.72, 0.6, 0.4])


def view_of(light):
    from lookkit.look import loads

    look = loads(RECIPE)
    return made_view(
        code_of(light), Runner(look.graph.camera("A")), display_ready=False, linear=False
    )


@given(st.lists(st.floats(-0.8, 0.8), min_size=3, max_size=3), st.sampled_from([3200.0, 5600.0]))
def test_exposure_and_white_say_a_gain_exactly(gain, white):
    try:
        trim = trim_of(np.array(gain), white)
    except InputError:
        return  # No light of any temperature and tint looks like it.
    np.testing.assert_allclose(gain_of(trim), gain, atol=1e-6)


def test_a_warmer_light_is_told_as_mired():
    # 1e6 / 2800 - 1e6 / 3200: the trade's way to tell filters, colour temperatures in mired.
    trim = Trim(0.0, 2800.0, 0.0, 3200.0)
    assert trim_of(gain_of(trim), 3200.0).mired == pytest.approx(44.64, abs=0.01)
    assert str(trim) == "+0.00 stop, +45 mired"


def test_a_small_difference_is_left_alone():
    assert trim_of(np.full(3, 0.049)).is_small
    assert not trim_of(np.full(3, 0.051)).is_small
    assert not trim_of(gain_of(Trim(0.0, 5450.0, 0.0, 5600.0))).is_small


@pytest.mark.parametrize(
    "frame", [(640, 350, 1.0, 0.0), (560, 320, 0.8, 3.0), (620, 330, 1.5, -4.0)]
)
def test_another_framing_of_the_same_place_is_brought_to_the_hero(frame):
    hero = view_of(framed(WALL, 600, 350))
    pair = compare(hero, view_of(gained(framed(WALL, *frame), -OFF)))
    assert pair is not None
    assert pair.refusal == ""
    np.testing.assert_allclose(pair.gain, OFF, atol=0.03)


def test_people_who_walk_about_do_not_matter():
    hero = view_of(framed(WALL, 600, 350))
    shot = gained(framed(WALL, 630, 350), -OFF)
    shot[60:, 150:260] = 0.05
    np.testing.assert_allclose(compare(hero, view_of(shot)).gain, OFF, atol=0.03)


def test_another_place_is_refused():
    hero = view_of(framed(WALL, 600, 350))
    for seed in (2, 3, 4):
        pair = compare(hero, view_of(framed(wall(seed), 600, 350)))
        assert pair is None or pair.refusal


@pytest.mark.parametrize("size", [(70, 90), (130, 140)])
def test_a_thing_that_travels_is_no_place(size):
    high, wide = size
    hero = framed(WALL, 600, 350)
    shot = framed(wall(2), 600, 350)
    shot[100 : 100 + high, 200 : 200 + wide] = hero[90 : 90 + high, 180 : 180 + wide] / 2
    pair = compare(view_of(hero), view_of(shot))
    assert pair is None or pair.refusal


def test_light_that_changed_on_one_side_alone_is_refused_and_told():
    hero = framed(WALL, 600, 350)
    shot = hero.copy()
    shot[:, 240:] *= 2**0.5
    pair = compare(view_of(hero), view_of(shot))
    assert "mixed light" in pair.refusal


def test_clipped_pixels_are_left_out():
    hero = framed(WALL, 600, 350)
    shot = np.minimum(framed(WALL, 620, 350) * 4, 0.9)
    view = view_of(shot)
    assert view.clipped > 0.05
    np.testing.assert_allclose(compare(view_of(hero), view).gain, np.full(3, -2.0), atol=0.05)


def test_pairs_of_a_scene_are_joined_and_a_wrong_one_is_outvoted():
    true = np.array([[0, 0, 0], [0.5, 0.4, 0.3], [-0.2, 0.0, 0.1], [1.0, 1.0, 1.0]])
    links = [(a, b, true[b] - true[a], 0.02) for a in range(4) for b in range(a + 1, 4)]
    links[0] = (0, 1, np.full(3, 2.0), 0.02)
    found = joined(5, [0], links)
    assert set(found) == {0, 1, 2, 3}
    for shot, gain in found.items():
        np.testing.assert_allclose(gain, true[shot], atol=0.03)


@pytest.fixture
def card(tmp_path):
    (tmp_path / "film.toml").write_text(RECIPE)
    shoot(tmp_path, "A001.tif", framed(WALL, 600, 350))
    shoot(tmp_path, "A002.tif", framed(WALL, 640, 350), -OFF)
    shoot(tmp_path, "A003.tif", framed(WALL, 570, 330), (0.02, 0.02, 0.02))
    shoot(tmp_path, "A004.tif", framed(wall(9), 600, 350), (0.5, 0.5, 0.5))
    shoot(tmp_path, "A005.tif", np.full((270, 480, 3), 1e-4))
    return tmp_path


def files(card):
    return sorted(card.glob("A*.tif"))


def test_a_film_is_balanced_and_told(card):
    sheet = card / "before-after.png"
    done = CliRunner().invoke(
        command, [str(card / "film.toml"), *map(str, files(card)), "--sheet", str(sheet)]
    )
    assert done.exit_code == 0, done.output
    _second_shot_is_brighter_in_the_second_column(sheet)
    assert "A001.tif: the hero, as it is" in done.output
    assert "A002.tif: +0." in done.output
    assert "agrees already" in done.output
    assert "nothing written: against A001.tif" in done.output
    assert "black: a slate" in done.output
    assert "1 of 5 shots have a trim; 1 lines changed" in done.output
    look = load(card / "film.toml")
    assert look.recipe.shot_settings == ("kiln/A002.tif",)
    made = balance(look, files(card))
    trims = look.graph.trims("kiln/A002.tif")
    light = gained(framed(WALL, 640, 350), -OFF).astype(np.float32)
    np.testing.assert_allclose(
        np.median(Runner(trims).run(light) / framed(WALL, 640, 350), axis=(0, 1)), 1.0, atol=0.02
    )
    # Run again, it finds the same and changes nothing: it measures before a shot's own trims.
    assert write_trims(card / "film.toml", made) == 0


def _second_shot_is_brighter_in_the_second_column(sheet):
    import cv2

    picture = cv2.imread(str(sheet), cv2.IMREAD_GRAYSCALE).astype(float)
    rows = np.array_split(picture, 5)
    hero, shot = (np.diff([half.mean() for half in np.array_split(one[60:-60], 2, axis=1)])
                  for one in rows[:2])  # fmt: skip
    # The page's margins are in both rows alike, and the hero's pictures are the same twice.
    assert shot - hero > 8


def test_all_else_of_the_recipe_stays_and_users_trims_stay_behind_ours(card):
    own = RECIPE.replace(
        "# the second day",
        '[[shots]]\nmatch = "A002.tif"   # the best one\ncamera = "A"\nscene = "kiln"\n'
        'note = "darker, as asked"\n# asked for by the client\n[[shots.trims]]\n'
        'kind = "exposure"\nstops = -0.5\n\n# the second day',
    )
    made = balance(load(card / "film.toml"), files(card))
    text, count = with_trims(own, card / "film.toml", made)
    assert count == 1
    assert [line for line in own.splitlines() if line not in text.splitlines()] == []
    assert text.index("balance-exposure") < text.index("# asked for by the client")
    again, count = with_trims(text, card / "film.toml", made)
    assert (again, count) == (text, 0)
    undone = balance(load(card / "film.toml"), files(card), wanted=Wanted(heroes=("A002.tif",)))
    reversed_, _ = with_trims(text, card / "film.toml", undone)
    assert "the best one" in reversed_
    before, _, after = reversed_.partition("# asked for by the client")
    assert "balance-exposure" not in before.partition("A002.tif")[2].partition("[[shots]]")[0]
    assert after.startswith('\n[[shots.trims]]\nkind = "exposure"\nstops = -0.5\n')


def test_a_shot_list_in_one_value_is_refused_and_not_touched(card):
    text = RECIPE.partition("# the second day")[0].replace(
        "[cameras.A]", 'shots = [{match = "A*", camera = "A", scene = "kiln"}]\n[cameras.A]'
    )
    made = balance(load(card / "film.toml"), files(card))
    with pytest.raises(InputError, match=r"film.toml:5: a shot list within one value"):
        with_trims(text, card / "film.toml", made)


def test_files_of_one_name_in_two_folders_have_patterns_of_their_own():
    from pathlib import Path

    places = [Path("/card/1/A[1].mov"), Path("/card/2/A[1].mov"), Path("/card/2/B.mov")]
    assert [pattern_of(one, places) for one in places] == ["1/A[[]1].mov", "2/A[[]1].mov", "B.mov"]


def test_a_grey_card_becomes_neutral_mid_grey(card):
    made = balance(
        load(card / "film.toml"), files(card)[:2],
        wanted=Wanted(picks=(parse_pick("A002.tif:0.5,0.5", grey=True),)),
    )  # fmt: skip
    trim = made.shots[1].trim
    light = gained(framed(WALL, 640, 350), -OFF)[134:137, 239:242].reshape(-1, 3)
    grey = gained(np.median(light, axis=0), gain_of(trim))
    np.testing.assert_allclose(grey, 0.18, rtol=0.06)
    assert made.shots[1].how == "its grey card"


def test_the_others_follow_a_hero_that_has_a_grey_card(card):
    grey = parse_pick("A001.tif:0.5,0.5", grey=True)
    shots = files(card)[:2]
    made = balance(load(card / "film.toml"), shots, wanted=Wanted(picks=(grey,)))
    hero, shot = (gain_of(one.trim) for one in made.shots)
    assert np.abs(hero).max() > 0.1
    np.testing.assert_allclose(shot - hero, OFF, atol=0.03)
    # A card in another shot than the hero is that shot's alone, and that is told.
    card_alone = parse_pick("A002.tif:0.5,0.5", grey=True)
    made = balance(load(card / "film.toml"), shots, wanted=Wanted(picks=(card_alone,)))
    assert "--hero A002.tif" in made.shots[1].doubts[0]
    with pytest.raises(InputError, match="2 of them for one file"):
        balance(load(card / "film.toml"), shots, wanted=Wanted(picks=(grey, grey)))


def test_a_pick_in_a_black_picture_is_told(card):
    pick = parse_pick("A005.tif:0.5,0.5", grey=True)
    made = balance(load(card / "film.toml"), files(card), wanted=Wanted(picks=(pick,)))
    assert "its pick is not used: the picture is black" in made.shots[-1].doubts


def test_a_face_in_two_shots_becomes_alike(card):
    picks = (parse_pick("A001.tif:0.5,0.5"), parse_pick("A004.tif:0.5,0.5"))
    made = balance(load(card / "film.toml"), files(card), wanted=Wanted(picks=picks))
    shot = next(one for one in made.shots if one.name == "A004.tif")
    assert shot.how == "a pick, as in A001.tif"
    assert shot.is_written


def test_statistics_are_used_only_when_asked_and_are_called_approximate(card):
    made = balance(load(card / "film.toml"), files(card), wanted=Wanted(same_place=True))
    shot = next(one for one in made.shots if one.name == "A004.tif")
    assert "approximate" in shot.how
    assert next(one for one in made.shots if one.name == "A005.tif").trim is None


@pytest.mark.parametrize("pick", ["A001.tif", "A001.tif:2,0", "A001.tif:x,y", ":0,0"])
def test_a_pick_that_is_none_is_refused(pick):
    with pytest.raises(InputError, match="expected FILE:X,Y"):
        parse_pick(pick)


def test_a_hero_that_is_not_there_and_a_single_shot_are_told(card):
    look = load(card / "film.toml")
    with pytest.raises(InputError, match=r"hero A009.tif: none among the files"):
        balance(look, files(card), wanted=Wanted(heroes=("A009.tif",)))
    assert "one shot only" in balance(look, files(card)[:1]).groups[0].told[0]


def test_an_unreadable_file_is_told_and_the_rest_goes_on(card):
    (card / "A006.tif").write_bytes(b"no picture")
    made = balance(load(card / "film.toml"), files(card))
    assert "A006.tif" in made.unread[0]
    assert len(made.shots) == 5


def test_where_nothing_is_shared_exposure_settings_are_proposed_and_not_written(card):
    import OpenImageIO as oiio

    for name, time in (("A001.jpg", 1 / 50), ("A004.jpg", 1 / 100)):
        picture = oiio.ImageBuf(str(card / f"{name[:4]}.tif"))
        picture.specmod().attribute("ExposureTime", time)
        picture.specmod().attribute("FNumber", 4.0)
        picture.specmod().attribute("Exif:PhotographicSensitivity", 800)
        picture.write(str(card / name))
    made = balance(load(card / "film.toml"), sorted(card.glob("*.jpg")))
    (doubt,) = made.shots[1].doubts
    # Half the time is a stop less light.
    assert "by the exposure settings in the files it would be +1.00 stop" in doubt
    assert made.shots[1].trim is None


def test_a_grey_card_in_another_light_is_doubted(card):
    shot = gained(framed(WALL, 640, 350), -OFF)
    shot[120:150, 225:255] = np.array([0.30, 0.18, 0.08])
    shoot(card, "A006.tif", shot)
    made = balance(
        load(card / "film.toml"), [card / "A001.tif", card / "A006.tif"],
        wanted=Wanted(picks=(parse_pick("A006.tif:0.5,0.5", grey=True),)),
    )  # fmt: skip
    assert "does the pick stand in another light?" in made.shots[1].doubts[0]
    plain = balance(
        load(card / "film.toml"), [card / "A001.tif", card / "A002.tif"],
        wanted=Wanted(picks=tuple(parse_pick(f"A00{k}.tif:0.5,0.5", grey=True) for k in (1, 2))),
    )  # fmt: skip
    assert not any("another light" in doubt for doubt in plain.shots[1].doubts)


def test_a_slate_is_no_hero(card):
    shoot(card, "A000.tif", np.full((270, 480, 3), 1e-4))
    made = balance(load(card / "film.toml"), [card / f"A00{number}.tif" for number in range(3)])
    assert [shot.name for shot in made.shots if shot.hero] == ["A001.tif"]
    assert made.shots[-1].is_written


def test_each_camera_has_its_hero_and_their_difference_is_told_not_trimmed(card):
    text = RECIPE + '[[shots]]\nmatch = "B*"\ncamera = "B"\nscene = "kiln"\n'
    text = text.replace("[outputs.web]", '[cameras.B]\nencoding = "ACEScct"\n[outputs.web]')
    (card / "film.toml").write_text(text)
    shoot(card, "B001.tif", framed(WALL, 610, 350), (-0.4, -0.4, -0.4))
    shoot(card, "B002.tif", framed(WALL, 650, 350), (-0.9, -0.9, -0.9))
    files = [card / name for name in ("A001.tif", "B001.tif", "B002.tif")]
    _, second = balance(load(card / "film.toml"), files).groups
    assert "its hero B001.tif is +0.4" in second.told[0]
    assert [shot.trim is None for shot in second.shots] == [True, False]
    assert second.shots[1].trim.stops == pytest.approx(0.5, abs=0.03)
    _, across = balance(load(card / "film.toml"), files, wanted=Wanted(across=True)).groups
    stops = [shot.trim.stops for shot in across.shots]
    np.testing.assert_allclose(stops, [0.4, 0.9], atol=0.03)
