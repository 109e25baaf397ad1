"""Balancing a film: which shots are measured against which, what is written and what is told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from lookkit.balance import picks as picked
from lookkit.balance import statistics
from lookkit.balance.drift import Drift, drift_of
from lookkit.balance.gains import LEAST_STOPS, Trim, trim_of
from lookkit.balance.join import Link, joined
from lookkit.balance.pair import DOUBTFUL_COVER, Pair, compare
from lookkit.balance.picks import Pick
from lookkit.balance.settings import proposal
from lookkit.balance.view import View, library, view_of
from lookkit.errors import InputError, LookkitError, some_of
from lookkit.media.jobs import Options, Taken, assign
from lookkit.ocio import cores
from lookkit.progress import Progress, silent
from lookkit.spaces.whitepoints import light_kelvin
from lookkit.spaces.working import Array

if TYPE_CHECKING:
    from lookkit.look import Look

_NEIGHBOURS: Final = 2
_MUCH_CLIPPED: Final = 0.05
_BLACK: Final = 0.995
_LEAST_SURE: Final = 0.2


@dataclass
class Shot:
    """One file of a scene, and what balancing found.

    `how` says by which way its trim was found; it has none where nothing is shared, or where it is
    the hero. `doubts` are for people.
    """

    taken: Taken
    hero: bool = False
    trim: Trim | None = None
    how: str = ""
    doubts: list[str] = field(default_factory=list)
    drift: Drift | None = None
    white: float = 5600.0
    """The white that the scene's pictures are taken to be balanced for, in kelvin."""
    gain: Array = field(default_factory=lambda: np.zeros(3))
    """What its trim multiplies its cones by, log2, shape (3,)."""

    @property
    def name(self) -> str:
        """The file's name."""
        return self.taken.place.name

    @property
    def is_written(self) -> bool:
        """Whether its trim goes into the recipe."""
        return self.trim is not None and not self.trim.is_small


@dataclass(frozen=True)
class Group:
    """The shots of a scene by one camera, the hero among them; `told` is about them all."""

    scene: str | None
    camera: str
    shots: tuple[Shot, ...]
    told: tuple[str, ...] = ()


@dataclass(frozen=True)
class Balanced:
    """All groups, and the files that could not be read, in words."""

    groups: tuple[Group, ...]
    unread: tuple[str, ...] = ()

    @property
    def shots(self) -> list[Shot]:
        """All shots."""
        return [shot for group in self.groups for shot in group.shots]


@dataclass(frozen=True)
class Wanted:
    """What the user asks for.

    `heroes` are names of files that others are brought to; without one, the first file of a
    scene and camera is it. `picks` are places in pictures. `same_place` allows statistics where
    no pair is trusted. `across` brings other cameras to the main camera's hero. `drifts` looks
    inside the shots.
    """

    heroes: tuple[str, ...] = ()
    picks: tuple[Pick, ...] = ()
    same_place: bool = False
    across: bool = False
    drifts: bool = True


def balance(
    look: Look,
    files: Sequence[str | Path],
    options: Options | None = None,
    wanted: Wanted | None = None,
    progress: Progress = silent,
) -> Balanced:
    """Find the trims that make the shots of each scene agree.

    Shots are measured in scene light, after their camera's match and their scene's trims, before
    those of their own. Only what both shots show is compared: where that is too little, nothing
    is found.

    Parameters
    ----------
    files, options
        As `lookkit apply` takes them; whose a file is is found alike.

    Raises
    ------
    InputError
        If a hero or a pick names no file, or no file can be read.
    LookkitError
        If OpenCV is not installed.
    """
    library()
    wanted = wanted or Wanted()
    taken, refused = assign(look, files, options or Options(), progress)
    unread = [one.problem for one in refused]
    _check_names(taken, wanted)
    workers = max(1, cores())
    made: list[Group] = []
    with ThreadPoolExecutor(workers, "lookkit-balance") as pool:
        # Scene by scene: what is kept of a frame takes some megabytes.
        for scene in [*look.scenes, None]:
            members = [one for one in taken if one.scene == scene]
            shots, views = _read(look, members, unread, pool, progress)
            groups = _groups(look, shots, views, wanted)
            pairs = _pairs(groups, views, wanted, pool, progress)
            made += [_settled(group, groups, views, pairs, wanted) for group in groups]
            if wanted.drifts:
                _drifts(look, shots, pool, progress)
    if not made:
        raise InputError("\n".join([*some_of(unread), "nothing to balance: no file could be read"]))
    return Balanced(tuple(made), tuple(unread))


def _check_names(taken: Sequence[Taken], wanted: Wanted) -> None:
    names = [one.place for one in taken]
    problems = []
    for what, name in [
        *(("hero", one) for one in wanted.heroes), *(("pick", one.name) for one in wanted.picks)
    ]:  # fmt: skip
        fitting = [place for place in names if _is(place, name)]
        if len(fitting) != 1:
            found = "none" if not fitting else f"{len(fitting)} of them"
            problems.append(f"{what} {name}: {found} among the files, expected one file's name")
    kinds = [(one.name, "grey" if one.grey else "pick") for one in wanted.picks]
    problems += [
        f"--{kind} {name}: {count} of them for one file, expected one"
        for (name, kind), count in Counter(kinds).items()
        if count > 1
    ]
    if problems:
        raise InputError("\n".join(problems))


def _is(place: Path, name: str) -> bool:
    return place.as_posix().endswith(f"/{name}") or place.as_posix() == name


def _read(
    look: Look,
    taken: Sequence[Taken],
    unread: list[str],
    pool: ThreadPoolExecutor,
    progress: Progress,
) -> tuple[list[Shot], dict[int, View]]:
    def read(one: Taken) -> View | str:
        try:
            return view_of(look, one)
        except (LookkitError, OSError) as error:
            return str(error)

    shots: list[Shot] = []
    views: dict[int, View] = {}
    for count, (one, found) in enumerate(zip(taken, pool.map(read, taken), strict=True)):
        progress(f"reading {one.place.name}", count + 1, len(taken))
        if isinstance(found, str):
            unread.append(found)
            continue
        scene = None if one.scene is None else look.recipe.scenes[one.scene].light
        shot = Shot(one, white=light_kelvin(scene))
        shot.doubts += _faults(found)
        views[id(shot)] = found
        shots.append(shot)
    return shots, views


def _faults(view: View) -> list[str]:
    """Return what is wrong with one picture alone."""
    found = []
    if view.dark > _BLACK:
        found.append("black: a slate, or a cap on the lens")
    if view.clipped > _MUCH_CLIPPED:
        what = "clipped, or near it," if view.display_ready else "clipped,"
        found.append(f"{view.clipped:.0%} of it is {what} and is left out")
    return found


def _groups(
    look: Look, shots: Sequence[Shot], views: dict[int, View], wanted: Wanted
) -> list[Group]:
    """Return the shots of one scene by camera, the hero first."""
    order = {name: place for place, name in enumerate(look.cameras)}
    cameras: dict[str, list[Shot]] = {}
    for shot in shots:
        cameras.setdefault(shot.taken.camera, []).append(shot)
    made = []
    for camera, members in sorted(cameras.items(), key=lambda one: order[one[0]]):
        named = [
            shot for shot in members if any(_is(shot.taken.place, name) for name in wanted.heroes)
        ]
        # A slate is no hero, nor is a picture of which little is sure.
        fit = [shot for shot in members if views[id(shot)].sure.mean() >= _LEAST_SURE]
        hero = (named or fit or members)[0]
        hero.hero = True
        scene = hero.taken.scene
        made.append(Group(scene, camera, (hero, *(one for one in members if one is not hero))))
    return made


Pairs = dict[tuple[int, int], Pair | None]


def _pairs(
    groups: Sequence[Group],
    views: dict[int, View],
    wanted: Wanted,
    pool: ThreadPoolExecutor,
    progress: Progress,
) -> Pairs:
    """Compare each shot with its hero, heroes of cameras, and neighbours of doubtful shots."""
    asked: list[tuple[Shot, Shot]] = []
    for group in groups:
        hero, *others = group.shots
        asked += [(hero, one) for one in others]
        main = groups[0]
        if main is not group:
            asked += [(main.shots[0], one) for one in (group.shots if wanted.across else [hero])]

    def work(one: tuple[Shot, Shot]) -> Pair | None:
        return compare(views[id(one[0])], views[id(one[1])])

    found: Pairs = {}

    def run(asked: Sequence[tuple[Shot, Shot]]) -> None:
        for count, (ask, pair) in enumerate(zip(asked, pool.map(work, asked), strict=True)):
            progress(f"comparing {ask[1].name}", count + 1, len(asked))
            found[id(ask[0]), id(ask[1])] = pair

    run(asked)
    asked = []
    for group in groups:
        hero, *others = group.shots
        for place, one in enumerate(others):
            for other in others[place + 1 : place + 1 + _NEIGHBOURS]:
                if not all(_is_strong(found[id(hero), id(shot)]) for shot in (one, other)):
                    asked.append((one, other))
    run(asked)
    return found


def _is_strong(pair: Pair | None) -> bool:
    """Say whether a pair with the hero needs no help of others."""
    if pair is None or pair.refusal:
        return False
    return pair.agreeing >= 0.7 and pair.cover >= 0.2


def _settled(
    group: Group,
    groups: Sequence[Group],
    views: dict[int, View],
    pairs: Pairs,
    wanted: Wanted,
) -> Group:
    """Return a group with the trims of its shots."""
    main = groups[0]
    across = wanted.across and main is not group
    members = [main.shots[0], *group.shots] if across else list(group.shots)
    hero = members[0]
    place = {id(shot): row for row, shot in enumerate(members)}
    links: list[Link] = []
    direct: dict[int, Pair] = {}
    for (first, second), pair in pairs.items():
        if pair is None or first not in place or second not in place:
            continue
        if place[first] == 0:
            direct[second] = pair
        if not pair.refusal:
            links.append((place[first], place[second], pair.gain, pair.spread))
    found = joined(len(members), [0], links)
    told = []
    picks = _Picks.of(members, wanted.picks)
    if not across:
        _settle_hero(hero, picks, views)
        if views[id(hero)].sure.mean() < _LEAST_SURE and len(members) > 1:
            told.append(
                f"{hero.name}, the hero, is nearly all dark or clipped: --hero names another"
            )
    for shot in members[1:]:
        row = place[id(shot)]
        _settle(shot, hero, found.get(row), direct.get(id(shot)), picks, views, wanted)
    if main is not group and not across:
        told += _offset(main, group, pairs.get((id(main.shots[0]), id(group.shots[0]))))
    if views[id(group.shots[0])].display_ready and any(shot.is_written for shot in group.shots):
        told.append(
            f"camera {group.camera}: display-ready pictures, whose highlights are rolled off: a "
            "trim is right for their middle tones and not for their lights"
        )
    if len(group.shots) == 1 and not across and id(hero) not in picks.greys:
        told.append("one shot only: nothing to balance it with")
    return replace(group, told=tuple(told))


@dataclass(frozen=True)
class _Picks:
    """Grey cards, and things that several shots show, by shot."""

    greys: dict[int, Pick]
    alike: dict[int, Pick]

    @classmethod
    def of(cls, members: Sequence[Shot], picks: Iterable[Pick]) -> _Picks:
        found = cls({}, {})
        for pick in picks:
            for shot in members:
                if _is(shot.taken.place, pick.name):
                    (found.greys if pick.grey else found.alike)[id(shot)] = pick
        return found


def _settle(
    shot: Shot,
    hero: Shot,
    gain: Array | None,
    pair: Pair | None,
    picks: _Picks,
    views: dict[int, View],
    wanted: Wanted,
) -> None:
    """Find a shot's trim: from its pick, else from what is shared, else by statistics if asked.

    A trim of the hero's own, from a grey card, is in all but the shot's own card.
    """
    view = views[id(shot)]
    if view.dark > _BLACK:
        if id(shot) in picks.greys or id(shot) in picks.alike:
            shot.doubts.append("its pick is not used: the picture is black")
        return
    chosen = _picked(shot, hero, picks, views)
    if chosen is not None and gain is not None:
        shot.doubts += _picks_doubts(shot, hero, chosen, gain, picks)
    if chosen is None and gain is not None:
        chosen = hero.gain + gain
        agreeing = f", {pair.agreeing:.0%} agree" if pair is not None and not pair.refusal else (
            ", by way of other shots")  # fmt: skip
        shot.how = f"what it shares with {hero.name}{agreeing}"
        if pair is not None and not pair.refusal and pair.cover < DOUBTFUL_COVER:
            shot.doubts.append(
                f"only {pair.cover:.0%} of the frame is shared: is it the place, or a thing that "
                "travels?"
            )
    if chosen is None and wanted.same_place and hero.taken.camera == shot.taken.camera:
        shift = statistics.shift_of(views[id(hero)], view)
        if shift is not None:
            chosen = hero.gain + shift
            shot.how = f"statistics of the same place, approximate, to {hero.name}"
    if chosen is None:
        why = pair.refusal if pair is not None and pair.refusal else "shows too little of the same"
        shot.doubts.append(
            f"nothing written: against {hero.name}, it {_as_verb(why)}; "
            f"{proposal(hero.taken, shot.taken)}"
        )
        return
    _give(shot, chosen)


def _picked(shot: Shot, hero: Shot, picks: _Picks, views: dict[int, View]) -> Array | None:
    """Return what a shot's pick asks for, its grey card before any other; None without one."""
    grey, thing = picks.greys.get(id(shot)), picks.alike.get(id(shot))
    try:
        if grey is not None:
            shot.how = "its grey card"
            return picked.gain_from(None, picked.light_at(views[id(shot)], grey))
        if thing is not None and id(hero) in picks.alike:
            shot.how = f"a pick, as in {hero.name}"
            light = picked.light_at(views[id(shot)], thing)
            theirs = picked.light_at(views[id(hero)], picks.alike[id(hero)])
            return hero.gain + picked.gain_from(theirs, light)
        if thing is not None:
            shot.doubts.append(f"a pick, but none in its hero {hero.name} to compare with")
    except InputError as error:
        shot.doubts.append(f"its pick is not used: {str(error).partition(': ')[2]}")
    return None


def _picks_doubts(shot: Shot, hero: Shot, chosen: Array, gain: Array, picks: _Picks) -> list[str]:
    """Return what a pick disagrees in with what its shot and the hero both show."""
    own_card = id(shot) in picks.greys and id(hero) not in picks.greys
    apart = chosen - hero.gain - gain
    # A hero without a card may be exposed as it likes, for nobody said what is right.
    if doubt := picked.doubts_of(apart - apart.mean() if own_card else apart):
        return [doubt]
    if own_card and (np.abs(apart) > LEAST_STOPS).any():
        return [
            f"its card makes it differ from {hero.name}, which has none: with --hero {shot.name} "
            "the others follow it"
        ]
    return []


def _as_verb(why: str) -> str:
    return why if why.startswith("sh") else f"is not trusted ({why})"


def _settle_hero(hero: Shot, picks: _Picks, views: dict[int, View]) -> None:
    pick = picks.greys.get(id(hero))
    if pick is None:
        return
    try:
        gain = picked.gain_from(None, picked.light_at(views[id(hero)], pick))
    except InputError as error:
        hero.doubts.append(f"its pick is not used: {str(error).partition(': ')[2]}")
        return
    hero.how = "its grey card"
    _give(hero, gain)


def _give(shot: Shot, gain: Array) -> None:
    try:
        shot.trim = trim_of(gain, shot.white)
    except InputError as error:
        shot.doubts.append(f"nothing written: {error}")
        return
    if shot.is_written:
        shot.gain = gain


def _offset(main: Group, group: Group, pair: Pair | None) -> list[str]:
    """Tell how far another camera's hero is from the main camera's; it is not trimmed."""
    first, second = main.shots[0], group.shots[0]
    if pair is None or pair.refusal:
        return [
            f"camera {group.camera}: {second.name} shares too little with {first.name} of camera "
            f"{main.camera} to tell how far they are apart"
        ]
    try:
        trim = trim_of(first.gain + pair.gain - second.gain, first.white)
    except InputError:
        return []
    if trim.is_small:
        return []
    return [
        f"camera {group.camera}: its hero {second.name} is {trim} from {first.name} of camera "
        f"{main.camera}; that is left to its match, or to a trim of the camera (--across brings "
        "its shots to that hero)"
    ]


def _drifts(
    look: Look, shots: Sequence[Shot], pool: ThreadPoolExecutor, progress: Progress
) -> None:
    def work(shot: Shot) -> Drift | str | None:
        try:
            return drift_of(look, shot.taken)
        except (LookkitError, OSError) as error:
            return str(error)

    for count, (shot, found) in enumerate(zip(shots, pool.map(work, shots), strict=True)):
        progress(f"looking through {shot.name}", count + 1, len(shots))
        if isinstance(found, str):
            shot.doubts.append(found)
        elif found is not None:
            shot.drift = found
