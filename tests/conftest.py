"""Shared by all tests: hypothesis profiles and the folder of real samples."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from lookkit import look
from lookkit.accuracy import samples, search

settings.register_profile(
    "quick", max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("thorough", max_examples=500, deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))


def samples_folder() -> Path:
    """Where the real samples are, if they are here."""
    beside = Path(__file__).resolve().parents[2] / "shared" / "data"
    return Path(os.environ.get("LOOKKIT_SAMPLES", beside))


@pytest.fixture(scope="module", autouse=True)
def small_lattices(request):
    """Make small the audits, the search for a CDL, and the lattices whose size no recipe gives.

    A module of tests whose claims are about how close these are says `AS_DELIVERED = True`; one
    that needs close lattices alone says `AS_DELIVERED = "lattices"`.
    """
    told = getattr(request.module, "AS_DELIVERED", False)
    with pytest.MonkeyPatch.context() as patch:
        if not told:
            few = dict.fromkeys(look._FITTED_TO, 4000)
            patch.setattr("lookkit.look._FITTED_TO", few)
            patch.setattr("lookkit.piece.SIZES", (17,))
        if told is not True:
            for name, count in samples.SET_SIZES.items():
                patch.setitem(samples.SET_SIZES, name, count // 10)
            for name, count in (("_CELLS", 64), ("_STARTS", 16), ("_ROUNDS", 4)):
                patch.setattr(search, name, count)
            patch.setattr("lookkit.deliver.best_cdl._COLOURS", 512)
        yield


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """The folder of real photographs, LUTs and clips that are not part of the repository."""
    folder = samples_folder()
    if not folder.is_dir():
        pytest.skip("the real samples are not here; set LOOKKIT_SAMPLES to their folder")
    return folder
