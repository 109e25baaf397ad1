"""The scanner finds the line of every key of any TOML text."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from lookkit.recipe.lines import key_lines, line_of

HARD = '''# a comment with [brackets] and "quotes"
schema = 1
name = "a # not a comment" # one
text = """
[not.a.table]
x = 1
"""
literal = \'\'\'
y = [
\'\'\'
[cameras.A]
encoding = 'LogC4'
[cameras."B two"]
"quoted key" = 1
dotted.inner.deep = 2
[[look]]
kind = "exposure"
[[look]]
kind = "matrix"
matrix = [
  [1, 0, 0], # first
  [0, 1, 0],
  [0, 0, 1],
]
[look.only]
x = { a = 1, b = [1, 2] }
[[look.part]]
z = 1
[[look.part]]
z = 2
'''


def test_every_key_of_a_hard_text_is_found_on_its_line():
    tomllib.loads(HARD)
    lines = key_lines(HARD)
    rows = HARD.splitlines()
    expected = {
        ("schema",): "schema = 1",
        ("name",): "name = ",
        ("text",): 'text = """',
        ("literal",): "literal = ",
        ("cameras", "A"): "[cameras.A]",
        ("cameras", "A", "encoding"): "encoding = ",
        ("cameras", "B two"): '[cameras."B two"]',
        ("cameras", "B two", "quoted key"): '"quoted key"',
        ("cameras", "B two", "dotted", "inner", "deep"): "dotted.inner.deep",
        ("look", 0, "kind"): 'kind = "exposure"',
        ("look", 1, "kind"): 'kind = "matrix"',
        ("look", 1, "matrix"): "matrix = [",
        ("look", 1, "matrix", 0): "  [1, 0, 0]",
        ("look", 1, "matrix", 2): "  [0, 0, 1]",
        ("look", 1, "only", "x"): "x = { a",
        ("look", 1, "part", 1, "z"): "z = 2",
    }
    for path, beginning in expected.items():
        assert rows[lines[path] - 1].startswith(beginning), path


def test_a_key_without_a_line_of_its_own_takes_its_parents():
    lines = key_lines(HARD)
    assert line_of(lines, ("look", 1, "only", "x", "b", 1)) == lines[("look", 1, "only", "x")]
    assert line_of(lines, ("nowhere",)) == 0


keys = st.text("abcxyz_-09", min_size=1, max_size=6)
values = st.recursive(
    st.one_of(
        st.integers(-99, 99).map(str),
        st.sampled_from(["true", '"a # b"', "'[x]'", '"""\n[y]\nk = 1\n"""', "1979-05-27"]),
    ),
    lambda inner: st.lists(inner, max_size=3).map(lambda items: "[" + ",\n ".join(items) + "]"),
    max_leaves=6,
)


def paths(value, path=()):
    """Every key path of a parsed text."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield (*path, key)
            yield from paths(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from paths(item, (*path, index))


@given(
    st.dictionaries(keys, values, max_size=4),
    st.dictionaries(keys, st.dictionaries(keys, values, max_size=3), max_size=3),
    st.lists(st.dictionaries(keys, values, max_size=2), max_size=3),
)
def test_every_path_that_tomllib_sees_has_its_line(top, tables, rows):
    text = "".join(f"{key} = {value}\n" for key, value in top.items())
    for name, table in tables.items():
        text += f"# comment\n\n[t.{name}]\n"
        text += "".join(f"  {key} = {value} # [x]\n" for key, value in table.items())
    for row in rows:
        text += "[[rows]]\n" + "".join(f"{key} = {value}\n" for key, value in row.items())
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    lines = key_lines(text)
    source = text.split("\n")
    for path in paths(data):
        found = line_of(lines, path)
        if not (len(path) > 1 and path[0] in top):
            assert found > 0 or path[0] == "t", path
        last = path[-1]
        if isinstance(last, str) and found and path in lines:
            assert last in source[lines[path] - 1]
