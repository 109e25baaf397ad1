"""A small hand-off, and ways to harm a copy of it."""

import hashlib
import json
import shutil
from contextlib import contextmanager

import pytest

from lookkit.handoff.build import build
from lookkit.handoff.manifest import NAME
from lookkit.look import Look
from lookkit.recipe.load import parse_recipe

RECIPE = """
schema = 1
name = "Warm print"
show = "Pottery"
[cameras.A]
encoding = "LogC4"
[cameras.B]
encoding = "BT.709 camera"
[[look]]
kind = "exposure"
id = "level"
stops = 0.3
[[look]]
kind = "cdl"
slope = [1.02, 1.0, 0.98]
[outputs.monitor]
output = "Rec.709 BT.1886"
[outputs.web]
output = "sRGB"
[scenes.dusk]
cameras = ["A"]
[[scenes.dusk.trims]]
kind = "exposure"
stops = 0.5
[deliver]
sizes = [17]
scenes = ["dusk"]
fit = false
formats = ["cube", "config"]
"""
SMALL = RECIPE.replace('[cameras.B]\nencoding = "BT.709 camera"\n', "")
"""Of one camera."""

ONE_OUTPUT = RECIPE.replace('[outputs.web]\noutput = "sRGB"\n', "")


@contextmanager
def few_points():
    """Make the lattices small whose size no recipe says: their claims do not depend on it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("lookkit.deliver.acescct.SIZE", 17)
        patch.setattr("lookkit.deliver.aces.SIZE", 17)
        patch.setattr("lookkit.deliver.stills.LEVEL", 4)
        patch.setattr("lookkit.piece.SIZES", (17,))
        yield


def with_formats(*names, text=RECIPE, certify=True):
    """Return a recipe that delivers other formats."""
    formats = ", ".join(f'"{name}"' for name in names)
    return text.replace(
        'formats = ["cube", "config"]', f"formats = [{formats}]\ncertify = {str(certify).lower()}"
    )


def look_of(text=RECIPE):
    return Look(parse_recipe(text), text)


def built(into, text=RECIPE):
    return build(look_of(text), into).folder


def copied(folder, into):
    return shutil.copytree(folder, into / folder.name)


def manifest_of(folder):
    return json.loads((folder / NAME).read_text())


def rewrite(folder, manifest):
    (folder / NAME).write_text(json.dumps(manifest))


def relist(folder, *names):
    """Make the manifest agree with files that were changed: hash and size, nothing else."""
    manifest = manifest_of(folder)
    for name in names:
        data = (folder / name).read_bytes()
        entry = manifest["files"].setdefault(name, {})
        entry |= {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
    rewrite(folder, manifest)


def bad(report):
    return [(row.file, row.reader, row.text) for row in report.rows if row.bad]
