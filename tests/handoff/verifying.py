"""A small hand-off, and ways to harm a copy of it."""

import hashlib
import json
import shutil

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
"""


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
