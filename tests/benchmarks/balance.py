"""How well shots agree after balancing, on shots whose right trims are known, and how fast.

    LOOKKIT_SAMPLES=samples python tests/benchmarks/balance.py [--keep FOLDER] [--seed 2]

Prints, for each way of finding a trim, Delta E 2000 of the same surfaces before and after
(mean / 95 %), the error of exposure against the best trim that the truth allows, and how many
shots became worse; how often something is written where nothing is shared; and the time of a pair
against that of reading its frames. Renders of the demo's sets are kept in FOLDER.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from lookkit.balance import statistics
from lookkit.balance.join import joined
from lookkit.balance.pair import compare
from lookkit.balance.picks import Pick, gain_from, light_at
from lookkit.errors import InputError
from tests.balance import simulation as sim
from tests.conftest import samples_folder

WIDTH = 480
PHOTOGRAPHS = ("exr/StillLife.exr", "exr/Desk.exr", "exr/Carrots.exr",
               "hdr/lebombo.hdr", "hdr/forest_slope.hdr")  # fmt: skip


class Table:
    def __init__(self):
        self.rows = defaultdict(list)
        self.known = {}

    def add(self, row, take, gain, wanted):
        if id(take) not in self.known:
            self.known[id(take)] = sim.delta(take.light, take.truth, take.seen)
        before = self.known[id(take)]
        after = sim.delta(sim.trimmed(take.light, gain), take.truth, take.seen)
        self.rows[row].append((*before, *after, abs(float(np.mean(gain - wanted)))))

    def show(self):
        print(f"{'':34} shots  before       after        error mean (p95)  worse")
        for name, found in self.rows.items():
            a = np.array(found)
            worse = int((a[:, 2] > a[:, 0] + 0.2).sum())
            print(
                f"{name:34} {len(a):5d}  {a[:, 0].mean():4.1f} / {a[:, 1].mean():4.1f}  "
                f"{a[:, 2].mean():4.2f} / {a[:, 3].mean():4.2f}  "
                f"{a[:, 4].mean():.3f} ({np.quantile(a[:, 4], 0.95):.3f})     {worse}"
            )


def places(keep: Path, photographs: Sequence[str] = PHOTOGRAPHS) -> list[sim.Place]:
    found = []
    for scene in sim.SETS:
        framings = {one: sim.kept(scene, one, WIDTH, keep) for one in sim.FRAMINGS}
        found.append(sim.Place(scene, scene, framings))
    folder = samples_folder()
    for name in photographs:
        if (folder / name).is_file():
            framings = sim.photographed(folder / name, WIDTH)
            found.append(sim.Place(Path(name).stem, "flats", framings))
    return found


def takes_of(
    place: sim.Place, camera: str, others: list[sim.Place], seed: int, *, card: bool = False
) -> list[sim.Take]:
    """Return a hero taken rightly, and a shot of each framing with something wrong."""
    draw = np.random.default_rng(seed)
    hero = sim.take(place.framings["hero"], place.scene, camera, 0.0, 0.0, seed)
    made = [hero]
    for number, framing in enumerate(sim.FRAMINGS):
        stops, kelvin = draw.uniform(-1.5, 1.5), draw.uniform(-1200, 1200)
        other = others[(number + seed) % len(others)].framings["wide"]
        made.append(
            sim.take(place.framings[framing], place.scene, camera, stops, kelvin,
                     seed + 17 * number, other, card=card)
        )  # fmt: skip
    return made


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--keep", type=Path, default=Path("out/balance"))
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--cameras", default="ABC", help="A and those beside it")
    asked.add_argument("--photographs", nargs="*", default=PHOTOGRAPHS, help="among the samples")
    options = asked.parse_args()
    all_places = places(options.keep, options.photographs)
    table = Table()
    refused: dict[str, int] = defaultdict(int)
    heroes: list[tuple[sim.Place, sim.Take]] = []
    takes: dict[tuple[str, str], list[sim.Take]] = {}
    spent = {"pair": 0.0, "pairs": 0}
    for number, place in enumerate(all_places):
        others = [one for one in all_places if one is not place]
        print(place.name, flush=True)
        for camera in options.cameras:
            shots = takes_of(place, camera, others, options.seed + 100 * number)
            takes[place.name, camera] = shots
            if camera == "A":
                heroes.append((place, shots[0]))
            hero, *rest = shots
            for take in rest:
                table.add(f"best possible, {camera}", take, take.best, take.best)
                greyish(table, camera, take)
            for take in takes_of(place, camera, others, options.seed + 100 * number, card=True)[1:]:
                card(table, camera, take)
            measure(table, f"hero, same camera {camera}", hero, rest, refused, spent)
            if camera != "A":
                main_hero = takes[place.name, "A"][0]
                measure(table, f"hero A, shot {camera}", main_hero, rest, refused, spent,
                        offset=main_hero.view if camera == "C" else None)  # fmt: skip
            for take in rest:
                gain = statistics.shift_of(hero.view, take.view)
                if gain is not None:
                    table.add(f"statistics, same place, {camera}", take, gain, take.best)
        if number in (2, 4):
            table.show()
    table.show()
    print("not written although shown:", dict(refused))
    wrong(heroes, takes, all_places)
    print(f"a pair takes {spent['pair'] / max(spent['pairs'], 1):.3f} s of processor time")


def card(table, camera, take):
    """Pick the middle of a grey card."""
    x, y = take.card
    light = np.median(take.truth[y - 5 : y + 6, x - 5 : x + 6].reshape(-1, 3), axis=0)
    picked(table, f"one grey card, {camera}", take, x, y, light)


def greyish(table, camera, take):
    """Pick an even place that looks grey where there is no card: a road, a wall, a cloud."""
    import cv2

    true = cv2.GaussianBlur(np.maximum(take.truth @ sim.TO_CONES.T, 1e-5), (0, 0), 2.0)
    level = np.log2(true)
    # Whole surroundings are seen: neither clipped light nor the person reaches into the pick.
    seen = cv2.erode((take.seen & take.view.sure).astype(np.uint8), np.ones((15, 15))) > 0
    good = (
        seen
        & (np.abs(level.mean(axis=-1) - np.log2(0.18)) < 2.0)
        & (np.ptp(level, axis=-1) < 0.3)
        & (take.view.edges < 0.05)
    )
    if not good.any():
        return
    y, x = np.unravel_index(int(np.where(good, take.view.edges, 9.0).argmin()), good.shape)
    light = take.truth[max(y - 2, 0) : y + 3, max(x - 2, 0) : x + 3].mean(axis=(0, 1))
    picked(table, f"a greyish place, {camera}", take, x, y, light)


def picked(table, row, take, x, y, light):
    high, wide = take.view.stops.shape
    pick = Pick("", (x + 0.5) / wide, (y + 0.5) / high)
    try:
        gain = gain_from(sim.TO_CONES @ light, light_at(take.view, pick))
    except InputError:
        return
    table.add(row, take, gain, take.best)


def measure(table, name, hero, rest, refused, spent, offset=None):
    links = []
    views = [hero.view, *(one.view for one in rest)]
    asked = [(0, one) for one in range(1, len(views))]
    asked += [(a, b) for a, b in combinations(range(1, len(views)), 2) if b - a < 3]
    for a, b in asked:
        started = time.process_time()
        pair = compare(views[a], views[b])
        spent["pair"] += time.process_time() - started
        spent["pairs"] += 1
        if pair is not None and not pair.refusal:
            links.append((a, b, pair.gain, pair.spread))
        elif a == 0:
            refused[f"{name}: " + ("no landmarks" if pair is None else pair.refusal[:24])] += 1
    for row, gain in joined(len(views), [0], links).items():
        if row:
            table.add(f"{name}, joined", rest[row - 1], gain, rest[row - 1].best)


def wrong(heroes, takes, all_places):
    """Count what is written between different scenes, and for a piece of one within another."""
    count = written = 0
    for (first, hero), (second, _) in combinations(heroes, 2):
        for take in takes[second.name, "A"][1:]:
            pair = compare(hero.view, take.view)
            count += 1
            if pair is not None and not pair.refusal:
                written += 1
                print(f"wrong scene written: {first.name} / {second.name}: {pair}")
    print(f"wrong scenes: {written} of {count} written")
    apart(all_places)
    count = written = 0
    for (first, hero), (second, _) in combinations(heroes, 2):
        image = second.framings["pan"].copy()
        high, wide = image.shape[:2]
        box = slice(high // 3, high * 2 // 3), slice(wide // 3, wide // 2)
        image[box] = first.framings["hero"][box]
        take = sim.take(image, second.scene, "A", 0.7, 500.0, 5)
        pair = compare(hero.view, take.view)
        count += 1
        if pair is not None and not pair.refusal:
            written += 1
            print(
                f"prop written: {first.name} in {second.name}: parts {pair.parts}, cover "
                f"{pair.cover:.3f}, agreeing {pair.agreeing:.2f}, matches {pair.matches}"
            )
    print(f"travelling props: {written} of {count} written")


def apart(all_places):
    """Count what is written between the left and the right half of each framing: one place, one
    light, and nothing that both show."""
    import cv2

    count = written = 0
    for place in all_places:
        for number, image in enumerate(place.framings.values()):
            half = image.shape[1] // 2
            left, right = (
                sim.take(
                    np.maximum(cv2.resize(np.ascontiguousarray(one), None, fx=2, fy=2), 0),
                    place.scene, "A", stops, kelvin, 3 + number,
                ).view
                for one, stops, kelvin in (
                    (image[:, :half], 0.0, 0.0), (image[:, half:], 0.8, -500.0))
            )  # fmt: skip
            pair = compare(left, right)
            count += 1
            if pair is not None and not pair.refusal:
                written += 1
                print(f"written without overlap: {place.name} {number}: {pair}")
    print(f"no overlap: {written} of {count} written")


if __name__ == "__main__":
    main()
