"""What is written as TOML reads back the same."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from lookkit.look import shipped_looks
from lookkit.recipe.write import toml_text

keys = st.text(min_size=1, max_size=8)
plain = st.one_of(
    st.text(),
    st.booleans(),
    st.integers(-(2**53), 2**53),
    st.floats(allow_nan=False),
)
values = st.recursive(
    plain,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(keys, inner, max_size=4)),
    max_leaves=12,
)


@given(st.dictionaries(keys, values, max_size=5))
def test_any_tables_read_back_the_same(tables):
    assert tomllib.loads(toml_text(tables)) == tables


def test_the_shipped_looks_read_back_the_same():
    for path in shipped_looks().values():
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
        assert tomllib.loads(toml_text(tables)) == tables
