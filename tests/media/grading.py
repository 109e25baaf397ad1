"""Grading files as `lookkit apply` does: a plan, and its jobs done."""

from lookkit.media.jobs import Options, plan
from lookkit.media.run import run


def grade(look, files, **options):
    """Everything that became of `files`: what was refused by the plan, then what was done."""
    planned = plan(look, [str(path) for path in files], Options(**options))
    return [*planned.refused, *run(look, planned)]
