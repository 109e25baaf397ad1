"""The looks that come with lookkit keep what they promise."""

from itertools import combinations

import numpy as np
import pytest

from lookkit import shipped_looks
from lookkit.accuracy.difference import lab
from lookkit.evaluate import evaluate
from lookkit.look import Look
from lookkit.lower import lower
from lookkit.nodes import LOOK_KINDS, RENDERING_KINDS
from lookkit.ocio import Processor
from lookkit.recipe.load import parse_recipe
from lookkit.spaces.level import stops_of
from lookkit.spaces.oklab import chroma_of, hue_of, oklab
from lookkit.spaces.outputs import output
from lookkit.spaces.primaries import AP1, BT709, between

AS_DELIVERED = True

LOOKS = tuple(shipped_looks())
NEUTRAL = ("plain-print", "soft-grey", "wide-landscape")
"""The looks whose notes promise neutral greys."""
every_look = pytest.mark.parametrize("name", LOOKS)


def shipped(name):
    text = (
        f'schema = 1\nname = "{name}"\nextends = "{name}"\n'
        '[cameras.L]\nencoding = "ACEScg"\n[outputs.m]\noutput = "Rec.709 BT.1886"\n'
    )
    recipe = parse_recipe(text)
    return Look(recipe, text)


def graded(look, scene):
    return look.evaluate(scene, camera="L", output="m")


def grey(stops):
    return 0.18 * 2.0 ** np.asarray(stops, dtype=float)[:, None].repeat(3, axis=1)


def test_there_are_six_looks_each_with_its_purpose():
    assert len(LOOKS) == 6
    assert all(shipped(name).recipe.note for name in LOOKS)


@every_look
def test_a_look_is_finite_and_inside_the_signal_for_any_light(name):
    rng = np.random.default_rng(4)
    light = rng.uniform(-2, 2, (3000, 3)) * 2.0 ** rng.uniform(-8, 8, (3000, 1))
    out = graded(shipped(name), light)
    assert np.isfinite(out).all()
    assert out.min() >= 0.0
    assert out.max() <= 1.0


@every_look
def test_greys_rise_without_a_fold(name):
    out = graded(shipped(name), grey(np.linspace(-9, 9, 800)))
    assert (np.diff(out, axis=0) >= -1e-12).all()


@pytest.mark.parametrize("name", NEUTRAL)
def test_greys_stay_neutral_where_it_is_promised(name):
    assert np.ptp(graded(shipped(name), grey(np.linspace(-9, 9, 200))), axis=1).max() <= 1e-9


@every_look
def test_shade_is_not_crushed(name):
    """From -4 to -2 stops at least a code of 8 bits for every third of a stop."""
    codes = graded(shipped(name), grey(np.arange(-12, -5) / 3))[:, 1] * 255
    assert (np.diff(codes) >= 1.0).all()


# The skin patches of the 24-patch chart, "dark skin" and "light skin": AP1 of colour-science's
# table (after November 2014), carried to AP1's white by Bradford.
SKIN = np.array([[0.1357, 0.0851, 0.0582], [0.4474, 0.2963, 0.2254]])


@pytest.mark.parametrize("name", [name for name in LOOKS if name != "soft-grey"])
def test_skin_stays_between_red_and_yellow(name):
    """Skin lies at 20 to 80 degrees of CIE Lab hue (common practice, no source)."""
    _, hue, chroma = seen(graded(shipped(name), SKIN))
    assert ((hue > 20) & (hue < 80)).all()
    assert ((chroma > 5) & (chroma < 60)).all()


def seen(signal):
    """CIE Lab lightness, hue in degrees and chroma of a BT.1886 signal."""
    xyz = np.asarray(signal) ** 2.4 @ BT709.to_xyz().T
    lightness, a, b = np.moveaxis(lab(xyz, BT709.to_xyz() @ np.ones(3)), -1, 0)
    return lightness, np.degrees(np.arctan2(b, a)), np.hypot(a, b)


def test_the_wide_landscape_keeps_its_lights_to_eight_stops_and_opens_shade():
    """A back-lit sunset spans 12 stops and more (common practice, no source)."""
    thirds = np.arange(-15, 24) / 3
    codes = np.rint(graded(shipped("wide-landscape"), grey(thirds))[:, 1] * 255)
    assert (np.diff(codes) >= 1).all()
    wide, plain = (
        graded(shipped(name), grey([-4.0, 7.0]))[:, 1] for name in ("wide-landscape", "plain-print")
    )
    assert wide[0] > plain[0]
    assert wide[1] < plain[1]


@pytest.fixture(scope="module")
def tube():
    """A red LED at 630 nm, 18 nm wide (a usual one; common practice, no source): -4 to +6 stops."""
    colour = pytest.importorskip("colour")
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    power = np.exp(-0.5 * ((observer.wavelengths - 630.0) / (18.0 / 2.3548)) ** 2)
    rgb = np.linalg.solve(AP1.to_xyz(), power @ observer.values)
    rgb *= 2.0 ** -stops_of(rgb[None])
    return rgb * 2.0 ** np.arange(-4.0, 6.01, 0.125)[:, None]


@pytest.mark.parametrize("name", [name for name in LOOKS if name != "soft-grey"])
def test_a_red_tube_keeps_its_hue_and_folds_no_channel(tube, name):
    """CIE Lab hue: red at every exposure, and no channel falls while the light rises."""
    out = graded(shipped(name), tube)
    _, hue, chroma = seen(out)
    assert np.ptp(hue[chroma > 8]) < 25.0
    assert (np.diff(out, axis=0) > -1e-3).all()


def test_a_red_tube_is_not_posterised(tube):
    """Lightness keeps rising until the print's own white."""
    lightness, _, _ = seen(graded(shipped("lamp-night"), tube))
    assert (np.diff(lightness) > 0.1).all()


@every_look
def test_opencolorio_carries_the_look(name):
    look = shipped(name)
    steps = [*look.graph.look(), *look.graph.rendering("m")]
    rng = np.random.default_rng(6)
    light = 0.18 * 2.0 ** rng.uniform(-6, 5, (4000, 1)) * rng.uniform(0.2, 1.0, (4000, 3))
    wrong = np.abs(Processor(lower(steps)).apply(light) - evaluate(steps, light))
    assert np.quantile(wrong, 0.99) <= 0.01


def test_the_looks_use_only_known_kinds():
    kinds = {kind.model_fields["kind"].default for kind in (*LOOK_KINDS, *RENDERING_KINDS)}
    for name in LOOKS:
        recipe = shipped(name).recipe
        assert {node.kind for node in recipe.look} | {recipe.rendering.kind} <= kinds


SCREENS = (
    "Rec.709 BT.1886", "P3-D65 2.6", "Rec.2100 PQ 1000", "Rec.2100 PQ 4000 P3", "Rec.2100 HLG 1000",
)  # fmt: skip


def on(name, screen):
    """The steps of a look from the scene to the light of a screen."""
    look = shipped(name)
    rendering = look.recipe.rendering
    return [*look.graph.look(), *rendering.ops_for(output(screen))]


@pytest.mark.parametrize("screen", SCREENS)
@every_look
def test_greys_and_tinted_neutrals_rise_in_every_channel_on_every_screen(name, screen):
    """Neutrals and whites a little off, from -9 to +9 stops; 1e-9 of white is float's own."""
    tints = 2.0 ** np.random.default_rng(3).uniform(-0.4, 0.4, (12, 3))
    tints[0] = 1.0
    stops = np.arange(-9.0, 9.01, 0.05)
    light = 0.18 * tints[:, None] * 2.0 ** stops[None, :, None]
    out = evaluate(on(name, screen), light)
    white = output(screen).peak / 100.0
    assert np.diff(out, axis=1).min() > -1e-9 * white
    assert (np.diff(out[0], axis=0)[: len(stops) * 3 // 4] > 0.0).all()


@pytest.mark.parametrize("screen", SCREENS)
@every_look
def test_colours_change_smoothly_with_exposure_on_every_screen(name, screen):
    """Per fiftieth of a stop no channel of Oklab moves more than a hundredth: no jump, no fold."""
    rays = np.array([
        [1, 0.05, 0.05], [1, 0.4, 0.05], [0.9, 1, 0.05], [0.05, 1, 0.1], [0.05, 1, 1],
        [0.05, 0.1, 1], [0.5, 0.05, 1], [1, 0.05, 0.6], [1.0, -0.05, 0.02], [-0.03, 0.02, 1.0],
    ])  # fmt: skip
    stops = np.arange(-7.0, 8.01, 0.02)
    light = 0.18 * rays[:, None] * 2.0 ** stops[None, :, None]
    target = output(screen)
    out = evaluate(on(name, screen), light) / (target.peak / 100.0)
    lab = oklab(out @ between(target.limiting, AP1, "bradford").T)
    assert np.abs(np.diff(lab, axis=1)).max() < 0.01


@pytest.mark.parametrize("name", [name for name in LOOKS if name != "soft-grey"])
def test_red_tubes_are_red_and_blue_lamps_blue_at_every_exposure(name, tube):
    """Red is within 30 degrees of 25, blue of 262, in Oklab's hue (of sRGB's primaries 29, 264)."""
    lamp = np.array([0.02, 0.03, 1.0]) * 0.18 * 2.0 ** np.arange(-4.0, 6.01, 0.25)[:, None]
    for light, hue in ((tube, 25.0), (lamp, 262.0)):
        out = graded(shipped(name), light) ** 2.4
        lab = oklab(out @ between(BT709, AP1, "bradford").T)
        visible = (chroma_of(lab) > 0.12) & (lab[:, 0] > 0.1)
        off = (hue_of(lab[visible]) - hue + 180.0) % 360.0 - 180.0
        assert np.abs(off).max() < 30.0


def turned(name, light):
    """Degrees of Oklab's hue from the scene to the screen, seen from its own grey, and chroma."""

    def shown(scene):
        return oklab(graded(look, scene) ** 2.4 @ between(BT709, AP1, "bradford").T)

    look = shipped(name)
    greys, found = shown(grey(np.arange(-14.0, 12.0, 0.05))), shown(light)
    for axis in (1, 2):
        found[:, axis] -= np.interp(found[:, 0], greys[:, 0], greys[:, axis])
    return (hue_of(found) - hue_of(oklab(light)) + 180.0) % 360.0 - 180.0, chroma_of(found)


@pytest.mark.parametrize("name", [name for name in LOOKS if name != "soft-grey"])
def test_fire_and_skin_keep_their_hue_among_a_looks_greys(name):
    """Black bodies of 1200-2700 K (Planck's law) to cameras balanced at 6500 and at 3200 K, 0 to
    +4 stops, turn between -4 and +12 degrees in the mean weighted by chroma; skins of the chart
    from -2 to +2 stops between -3 and +5 (to the degree)."""
    colour = pytest.importorskip("colour")
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]

    def black_body(kelvin):
        metres = observer.wavelengths * 1e-9
        xyz = observer.values.T @ (metres**-5 / np.expm1(1.438777e-2 / (metres * kelvin)))
        return xyz / xyz[1]

    fires = []
    for white in (6500.0, 3200.0):
        adapted = colour.adaptation.matrix_chromatic_adaptation_VonKries(
            black_body(white), AP1.to_xyz() @ np.ones(3), "Bradford"
        )
        for kelvin in (1200, 1500, 1800, 2200, 2700):
            rgb = np.linalg.solve(AP1.to_xyz(), adapted @ black_body(kelvin))
            fires.append(np.maximum(rgb, 1e-4) * 2.0 ** -stops_of(rgb[None]))
    for stop in range(5):
        turns, chromas = turned(name, np.array(fires) * 2.0**stop)
        assert -4.5 < np.average(turns, weights=chromas) < 12.5, stop
    for stop in range(-2, 3):
        turns, _ = turned(name, SKIN * 2.0**stop)
        assert ((turns > -3.5) & (turns < 5.5)).all(), stop


def test_the_wide_landscape_opens_shade_without_its_noise():
    """Shot noise of 2 % at mid-grey and a read noise of .0006, at -5 stops: spreads of L* and of
    a*b* are at most 2.5 times those of ACES 2 (Academy), the yardstick."""
    level = 0.18 * 2.0**-5
    spread = 0.02 * np.sqrt(level * 0.18) + 0.0006
    noisy = level + np.random.default_rng(1).normal(0.0, spread, (4000, 3))
    text = (
        'schema = 1\nname = "x"\n[rendering]\nkind = "aces-2"\n[cameras.L]\n'
        'encoding = "ACEScg"\n[outputs.m]\noutput = "Rec.709 BT.1886"\n'
    )
    found = []
    for look in (Look(parse_recipe(text), text), shipped("wide-landscape")):
        xyz = graded(look, noisy) ** 2.4 @ BT709.to_xyz().T
        lightness, a, b = lab(xyz, BT709.to_xyz() @ np.ones(3)).std(axis=0)
        found.append((lightness, np.hypot(a, b)))
    assert (np.array(found[1]) <= 2.5 * np.array(found[0])).all(), found


def test_any_two_looks_are_apart_on_a_chart():
    """Mean Delta E 2000 (CIE 142) over the 24-patch chart from -4 to +3 stops."""
    colour = pytest.importorskip("colour")
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    rgb = xyz @ np.linalg.inv(AP1.to_xyz()).T
    scene = (rgb[None] * 2.0 ** np.arange(-4.0, 3.1)[:, None, None]).reshape(-1, 3)
    white = BT709.to_xyz() @ np.ones(3)
    labs = {
        name: lab(graded(shipped(name), scene) ** 2.4 @ BT709.to_xyz().T, white) for name in LOOKS
    }
    for one, two in combinations(LOOKS, 2):
        apart = colour.difference.delta_E_CIE2000(labs[one], labs[two]).mean()
        assert apart > 3.0, (one, two, apart)
