"""Files of a hand-off: manifest, certificates, CDLs and AMFs, told as sound or not, or refused.

A changed file has its own size and hash in the manifest, as if somebody had rewritten both.
"""

import json
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lookkit.accuracy.samples import SET_SIZES
from lookkit.deliver.cdl import read_cc
from lookkit.errors import InputError, LookkitError
from lookkit.handoff.build import build
from lookkit.handoff.manifest import NAME as MANIFEST
from lookkit.handoff.timeline.source import source_of, uuid_of
from lookkit.handoff.verify import _as_built, _timelines, _truths
from lookkit.handoff.verify.amfs import amf_rows
from lookkit.handoff.verify.cdls import _collected, _corrections, cdl_rows
from lookkit.handoff.verify.clfs import certified
from lookkit.handoff.verify.graph import Truths
from lookkit.handoff.verify.listing import read_listing
from lookkit.handoff.verify.luts import stated_figures
from lookkit.handoff.verify.pages import page_rows
from lookkit.handoff.verify.promised import promised_rows
from lookkit.handoff.verify.rebuilt import as_dated
from lookkit.look import Look
from lookkit.lutfile.faults import Faults
from lookkit.lutfile.xmltree import parse
from lookkit.recipe.load import parse_recipe
from lookkit.recipe.shots import Shot
from lookkit.report.certificates import certificates_html, find_certificates
from tests.fuzz.mutate import mutated, mutated_tables
from tests.fuzz.place import or_told, place
from tests.handoff.verifying import ONE_OUTPUT, few_points, with_formats

NAME = "handoffs"
KINDS = ("manifest", "certificate", "cdl", "amf")
_ENDINGS = {
    "manifest": (MANIFEST,),
    "certificate": (".cube.json",),
    "cdl": (".cc", ".ccc", ".cdl"),
    "amf": (".amf",),
}
_SHOTS = (Shot(match="A*", camera="A"), Shot(match="B*", camera="A", scene="dusk"))


@cache
def _folder() -> Path:
    text = ONE_OUTPUT.replace('[cameras.B]\nencoding = "BT.709 camera"\n', "")
    text = with_formats("cube", "cdl", "amf", text=text)
    with few_points(), pytest.MonkeyPatch.context() as patch:
        # Figures that anybody could read, of fewer colours: no case measures them again.
        for name, colours in SET_SIZES.items():
            patch.setitem(SET_SIZES, name, colours // 64)
        patch.setattr("lookkit.accuracy.search._ROUNDS", 1)
        return build(Look(parse_recipe(text), text), place() / "handoffs").folder


@cache
def _look() -> Truths:
    truths, _ = _truths(read_listing(_folder()))
    assert truths is not None
    return truths


@cache
def seeds() -> dict[str, dict[str, bytes]]:
    """The valid files by kind and name."""
    _look()
    there = [path for path in sorted(_folder().rglob("*")) if path.is_file()]
    return {
        kind: {
            path.relative_to(_folder()).as_posix(): path.read_bytes()
            for path in there
            if path.name.endswith(endings)
        }
        for kind, endings in _ENDINGS.items()
    }


@cache
def _tables(kind: str, name: str) -> dict[str, Any]:
    return dict(json.loads(seeds()[kind][name]))


def _chosen(number: int) -> tuple[str, str]:
    kind = KINDS[number % len(KINDS)]
    names = sorted(seeds()[kind])
    return kind, names[number // len(KINDS) % len(names)]


def case(number: int) -> tuple[str, bytes]:
    """The ending and the bytes of a case; JSON has its text or its tables changed."""
    kind, name = _chosen(number)
    ending = "".join(Path(name).suffixes[-2:]) if kind == "certificate" else Path(name).suffix
    if kind in ("manifest", "certificate") and number % 3:
        return ending, json.dumps(mutated_tables([_tables(kind, name)], number)).encode()
    return ending, mutated([seeds()[kind][name]], number)


def read(number: int) -> None:
    """Read a case; raises what is a find."""
    kind, name = _chosen(number)
    _, data = case(number)
    path = _folder() / name
    path.write_bytes(data)
    try:
        {"manifest": _manifest, "certificate": _certificate, "cdl": _cdl, "amf": _amf}[kind](
            name, number
        )
    finally:
        path.write_bytes(seeds()[kind][name])


def _manifest(name: str, number: int) -> None:
    folder = _folder()
    listing, told = or_told(lambda: read_listing(folder))
    if listing is None:
        assert str(folder) in told
        return
    look = _as_built(_look().look, listing)
    rows = [*listing.rows, *promised_rows(listing, look)]
    if number % 16 == 0:
        rows += page_rows(listing, look)
    assert all(len(row.text) < 4000 for row in rows)
    _timelines(listing, ())
    as_dated(look, listing.manifest)
    listed = json.loads(seeds()["manifest"][MANIFEST])["files"]
    changed = [entry for one, entry in listing.entries.items() if entry != listed.get(one)]
    for entry in changed:
        for made in (_look().judged, _look().declared, _look().change):
            with suppress(InputError):
                made(entry)
        assert stated_figures(entry, folder / "none", same=True) is not None
        certified(name, {"image-like 99.9 %": 0.1, "codes": 0.1}, entry.get("figures"))
    source = source_of(folder, None, None, "look")
    for shot in _SHOTS:
        with suppress(InputError):
            source.marks(shot)


def _certificate(name: str, number: int) -> None:
    entry = {"figures": json.loads(seeds()["manifest"][MANIFEST])["files"][name[:-5]]["figures"]}
    for one in ({}, entry):
        stated_figures(one, _folder() / name, same=number % 2 == 0)
    found, told = or_told(lambda: find_certificates(_look().look, [_folder()]))
    if found is None:
        assert name in told
    elif found and number % 800 == 1:  # Its charts take a second.
        assert certificates_html(_look().look, found)


def _cdl(name: str, number: int) -> None:
    rows = list(cdl_rows({name: {"part": "cdl-look"}}, _folder(), None, None))
    assert rows
    with suppress(ValueError, KeyError, AttributeError):
        root = parse((_folder() / name).read_bytes(), Faults())
        if root is not None:
            _collected(name, list(_corrections(root)), _folder(), same=True)
    if name.endswith(".cc") and not any(row.bad for row in rows):
        # What verify takes for a CDL is one for a timeline too.
        assert np.isfinite(read_cc(_folder() / name).numbers).all()


def _amf(name: str, number: int) -> None:
    listed = {one: {} for one in json.loads(seeds()["manifest"][MANIFEST])["files"]}
    rows = list(amf_rows({name: {"part": "chain"}}, listed, _folder(), None, None))
    assert rows
    with suppress(LookkitError):
        uuid_of(_folder() / name)
