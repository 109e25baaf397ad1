"""Encodings and outputs of the user's own, and what is said about those that cannot be."""

import tomllib

import numpy as np
import pytest

from lookkit.errors import InputError
from lookkit.spaces.encodings import encoding
from lookkit.spaces.outputs import output
from lookkit.spaces.read import Fault, TableError, read_encodings, read_outputs

GOOD = """
[primaries.Lab]
red = [0.68, 0.32]
green = [0.20, 0.75]
blue = [0.14, 0.05]
white = [0.3127, 0.3290]
adaptation = "cat02"
source = "measured on the bench"

[curves.Bench]
family = "points"
points = [[0.05, -0.01], [0.09, 0.0], [0.2, 0.02], [0.4, 0.18], [0.6, 1.0], [0.9, 12.0]]

[encodings."Camera Q"]
curve = "Bench"
primaries = "Lab"
range = "legal"
bits = 8
aliases = ["Q"]
source = "the match of a chart"

[encodings."Q in a known log"]
curve = "S-Log3"
primaries = "BT.709"

[encodings.Inline]
curve = { family = "power", gamma = 2.2 }
primaries = { red = [0.64, 0.33], green = [0.3, 0.6], blue = [0.15, 0.06], white = [0.31, 0.33] }
adaptation = "cat02"

[encodings.Matrixed]
curve = "V-Log"
to_ap0 = [[0.7, 0.2, 0.1], [0.1, 0.85, 0.05], [0.0, 0.05, 0.95]]
"""


def read(text):
    return read_encodings(tomllib.loads(text))


def faults(text, reader=read_encodings):
    with pytest.raises(TableError) as raised:
        reader(tomllib.loads(text))
    return raised.value.faults


def test_encodings_of_the_users_own():
    own = read(GOOD)
    assert list(own) == ["Camera Q", "Q in a known log", "Inline", "Matrixed"]
    camera = encoding("q", own)
    assert (camera.native_range, camera.bits, camera.adaptation) == ("legal", 8, "cat02")
    assert (camera.source, camera.evidence) == ("the match of a chart", "user")
    # Code 0.4 of the signal, in legal range at 8 bits, is the measured grey.
    grey = np.full(3, (16 + 219 * 0.4) / 255)
    assert camera.decode(grey) == pytest.approx(0.18, abs=1e-9)
    assert camera.encode(camera.decode(grey)) == pytest.approx(grey, abs=1e-9)
    assert own["Q in a known log"].curve == encoding("S-Log3/S-Gamut3").curve
    assert own["Inline"].adaptation == "cat02"


def test_a_matrix_takes_the_place_of_primaries():
    own = read(GOOD)["Matrixed"]
    ap0 = np.array([[0.7, 0.2, 0.1], [0.1, 0.85, 0.05], [0.0, 0.05, 0.95]]) @ np.array(
        own.curve.decode(np.array([0.5, 0.4, 0.3]))
    )
    as_ap0 = encoding("ACES2065-1").encode(own.decode(np.array([0.5, 0.4, 0.3])))
    assert as_ap0 == pytest.approx(ap0, abs=1e-9)
    # Its rows sum to one, so its white is that of AP0.
    assert own.primaries.white == pytest.approx((0.32168, 0.33767), abs=1e-9)


def test_the_shipped_tables_pass_as_if_they_were_a_users():
    from lookkit.spaces.data import configs_folder

    for name, reader in (("encodings", read_encodings), ("outputs", read_outputs)):
        with (configs_folder() / f"{name}.toml").open("rb") as file:
            assert len(reader(tomllib.load(file))) > 15


LOG = 'curve = "LogC4"\n'
P = 'primaries = "BT.709"\n'
E = "[encodings.A]\n"

FAULTS = [
    (E + P, ("encodings", "A", "curve"), "missing", ""),
    (E + LOG, ("encodings", "A", "primaries"), "missing", ""),
    (E + 'curve = "LogC5"\n' + P, ("encodings", "A", "curve"), "LogC5", "LogC4"),
    (E + "curve = 5\n" + P, ("encodings", "A", "curve"), "found 5", "name of a curve"),
    (E + LOG + 'primaries = "BT.708"', ("encodings", "A", "primaries"), "BT.708", "BT.709"),
    (E + LOG + "primaries = 3", ("encodings", "A", "primaries"), "found 3", "name of primaries"),
    (E + LOG + P + "bit = 8", ("encodings", "A", "bit"), "unknown key", "bits"),
    (E + LOG + P + "bits = 9", ("encodings", "A", "bits"), "found 9", "8, 10, 12 or 16"),
    (E + LOG + P + "bits = true", ("encodings", "A", "bits"), "found True", "8, 10"),
    (E + LOG + P + 'bits = "ten"', ("encodings", "A", "bits"), "'ten'", "8, 10"),
    (E + LOG + P + "bits = [10]", ("encodings", "A", "bits"), "[10]", "8, 10"),
    (E + LOG + P + 'range = "narrow"', ("encodings", "A", "range"), "narrow", "full"),
    (E + LOG + P + "range = [1]", ("encodings", "A", "range"), "[1]", "full"),
    (E + 'curve = "linear"\nrange = "legal"\n' + P, ("encodings", "A", "range"), "legal", "full"),
    (E + LOG + P + 'adaptation = "cat16"', ("encodings", "A", "adaptation"), "cat16", "cat02"),
    (E + LOG + P + "aliases = 'x'", ("encodings", "A", "aliases"), "'x'", "list of names"),
    (E + LOG + P + "aliases = [1]", ("encodings", "A", "aliases"), "[1]", "list of names"),
    (E + LOG + P + "source = 1", ("encodings", "A", "source"), "found 1", "text"),
    (
        E + LOG + P + "to_ap0 = [[1,0,0],[0,1,0],[0,0,1]]",
        ("encodings", "A", "to_ap0"),
        "beside primaries",
        "one of the two",
    ),
    (E + LOG + "to_ap0 = [[1,0],[0,1]]", ("encodings", "A", "to_ap0"), "[[1", "three rows"),
    (E + LOG + "to_ap0 = [[1,0,0],[0,1],[0,0,1]]", ("encodings", "A", "to_ap0"), "", "three rows"),
    (
        E + LOG + "to_ap0 = [[1,1,1],[1,1,1],[1,1,1]]",
        ("encodings", "A", "to_ap0"),
        "cannot be inverted",
        "",
    ),
    (
        E + LOG + "[encodings.A.primaries]\nred=[0.6,0.3]\ngreen=[0.4,0.3]\n"
        "blue=[0.2,0.3]\nwhite=[0.31,0.33]",
        ("encodings", "A", "primaries"),
        "one line",
        "",
    ),
    (
        E + LOG + "[encodings.A.primaries]\nred=[0.6,0.3]\ngreen=[0.3,0.6]\nblue=[0.15]\n"
        "white=[0.31,0.33]",
        ("encodings", "A", "primaries", "blue"),
        "[0.15]",
        "x and y",
    ),
    (
        E + LOG + "[encodings.A.primaries]\nred=[0.6,0.3]\ngreen=[0.3,0.6]\nwhite=[0.31,0.33]",
        ("encodings", "A", "primaries", "blue"),
        "missing",
        "",
    ),
    (
        E + LOG + 'primaries = "X"\n[primaries.X]\nred=[0.6,0.3]\ngreen=[0.3,0.6]\n'
        "blue=[nan,0.1]\nwhite=[0.31,0.33]",
        ("primaries", "X", "blue"),
        "nan",
        "a number",
    ),
    (E + P + "curve = {family='logg'}", ("encodings", "A", "curve", "family"), "logg", "log"),
    (E + P + "curve = {gamma=2}", ("encodings", "A", "curve", "family"), "missing", "power"),
    (E + P + "curve = {family=['log']}", ("encodings", "A", "curve", "family"), "", "log"),
    (E + P + "curve = {family='power'}", ("encodings", "A", "curve", "gamma"), "missing", ""),
    (
        E + P + "curve = {family='power', gama=2, gamma=2}",
        ("encodings", "A", "curve", "gama"),
        "unknown key",
        "gamma",
    ),
    (
        E + P + "curve = {family='power', gamma='2'}",
        ("encodings", "A", "curve", "gamma"),
        "'2'",
        "a number",
    ),
    (
        E + P + "curve = {family='power', gamma=[2, 2]}",
        ("encodings", "A", "curve", "gamma"),
        "[2, 2]",
        "a number",
    ),
    (E + P + "curve = {family='power', gamma=-1}", ("encodings", "A", "curve"), "gamma is -1", ""),
    (E + P + "curve = {family='pq'}", ("encodings", "A", "curve", "family"), "pq", "one of"),
    (
        E + P + "curve = {family='points', points=[[0,0],[0.5,0.6],[1,0.5]]}",
        ("encodings", "A", "curve"),
        "does not rise",
        "",
    ),
    (
        E + P + "curve = {family='points', points=[[0,0],[0.5],[1,0.5]]}",
        ("encodings", "A", "curve", "points", 1),
        "found [0.5]",
        "a pair",
    ),
    (
        E + P + "curve = {family='points', points=3}",
        ("encodings", "A", "curve", "points"),
        "found 3",
        "",
    ),
    (
        E + P + "curve = 'Mine'\n[curves.Mine]\nfamily='log'\nlog_slope=0.2\nlog_offset=0.5\n"
        "lin_slope=1\nlin_offset=0.1\nlin_break=0.0\nlinear_slope=-1",
        ("curves", "Mine"),
        "linear_slope",
        "",
    ),
    ("encodings = 3", ("encodings",), "found 3", "a table"),
    ("[encodings]\nA = 3", ("encodings", "A"), "found 3", "a table"),
    ("[encodngs.A]\n" + LOG + P, ("encodngs",), "unknown table", "encodings"),
    (E + LOG + P + "[curves]\nX = 3\n", ("curves", "X"), "found 3", "a table"),
]


@pytest.mark.parametrize(("text", "keys", "found", "expected"), FAULTS)
def test_every_fault_is_told_with_its_place(text, keys, found, expected):
    (fault,) = faults(text)
    assert fault.keys == keys
    assert found in fault.found
    assert expected in fault.expected
    assert str(fault).startswith(".".join(str(key) for key in keys))


def test_all_faults_are_told_at_once():
    found = faults("[encodings.A]\ncurve = 'x'\nprimaries = 'AP1'\n[encodings.B]\ncurve = 'LogC4'")
    assert [fault.keys[:2] for fault in found] == [("encodings", "A"), ("encodings", "B")]
    assert isinstance(TableError(found), InputError)
    assert str(TableError(found)).count("\n") == 1


def test_a_fault_reads_as_one_line():
    fault = Fault(("encodings", "A", "bits"), "found 9", "8, 10, 12 or 16")
    assert str(fault) == "encodings.A.bits: found 9, expected 8, 10, 12 or 16"


def test_outputs_of_the_users_own():
    own = read_outputs(
        tomllib.loads(
            """
            [outputs."Small monitor"]
            primaries = "BT.709"
            curve = { family = "bt.1886", white = 100, black = 0.2 }
            range = "legal"
            bits = 10

            [outputs."Bright wall"]
            primaries = "BT.2020"
            limiting = "P3-D65"
            curve = "PQ"
            peak = 600
            """
        )
    )
    assert output("small MONITOR", own).encode(np.full(3, 0.002))[0] * 1023 == pytest.approx(64)
    wall = output("Bright wall", own)
    assert (wall.peak, wall.reference_white, wall.is_hdr) == (600, 203, True)
    assert wall.encode(np.full(3, 20.0)) == pytest.approx(wall.encode(np.full(3, 6.0)))


OUTPUT = '[outputs.A]\nprimaries = "BT.709"\ncurve = "PQ"\n'


@pytest.mark.parametrize(
    ("text", "key", "found"),
    [
        (OUTPUT + "peak = 150\nreference_white = 203", "peak", "150 cd/m2 below"),
        (OUTPUT + "reference_white = 203", "reference_white", "100 cd/m2 below"),
        (OUTPUT + "peak = -1", "peak", "found -1"),
        (OUTPUT + "peak = 'high'", "peak", "'high'"),
        (OUTPUT + "peak = inf", "peak", "found inf"),
        (OUTPUT + "limiting = 'P4'", "limiting", "P4"),
        (OUTPUT + "interface_range = 'sdi'", "interface_range", "sdi"),
        ('[outputs.A]\nprimaries = "BT.709"\ncurve = "LogC4"', "curve", "LogC4"),
        ('[outputs.A]\nprimaries = "BT.709"', "curve", "missing"),
    ],
)
def test_impossible_outputs_are_told_with_their_place(text, key, found):
    (fault,) = faults(text, read_outputs)
    assert fault.keys[:3] == ("outputs", "A", key)
    assert found in fault.found
