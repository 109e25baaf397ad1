"""A blend is a weighted mean of what it joins."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from lookkit.nodes.blend import Blend
from tests.nodes.strategies import number, scene


def blend(weight, *weights):
    branches = [{"node": f"n{place}", "weight": one} for place, one in enumerate(weights)]
    return Blend.model_validate({"weight": weight, "branches": branches})


@given(scene(), scene(), scene(), number(0, 5), number(0, 5), number(0.1, 5))
def test_weights_are_shares(a, b, c, first, second, third):
    weights = np.array([first, second, third])
    mean = np.tensordot(weights / weights.sum(), np.stack([a, b, c]), axes=1)
    np.testing.assert_allclose(
        blend(first, second, third).join([a, b, c]), mean, rtol=1e-12, atol=1e-12
    )


@given(scene(), st.lists(number(0, 3), max_size=4))
def test_a_join_of_equals_changes_nothing(rgb, weights):
    joined = blend(1.0, *weights).join([rgb] * (1 + len(weights)))
    np.testing.assert_allclose(joined, rgb, rtol=1e-12, atol=1e-15)


def test_a_blend_without_any_weight_is_refused():
    with pytest.raises(ValidationError, match="all weights are 0"):
        blend(0.0, 0.0)
