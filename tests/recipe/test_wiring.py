"""The edges of a list of nodes, and everything that can be wrong with them at once."""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lookkit.recipe.wiring import state_faults, wire
from lookkit.spaces.working import State


def node(id=None, input=None, branches=(), enabled=True):
    table = {"kind": "blend" if branches else "exposure"}
    table |= {"id": id} if id else {}
    table |= {"input": input} if input else {}
    table |= {"branches": [{"node": name} for name in branches]} if branches else {}
    return table if enabled else {**table, "enabled": False}


def faults(*nodes):
    return [(fault.path, fault.found) for fault in wire(nodes).faults]


def test_each_node_follows_the_one_above():
    wiring = wire([node(), node(), node()])
    assert wiring.order == (0, 1, 2)
    assert [wiring.sources(index) for index in range(3)] == [(-1,), (0,), (1,)]


def test_an_empty_list_gives_what_enters():
    assert (wire([]).order, wire([]).result) == ((), -1)


def test_the_result_is_the_node_that_no_other_takes():
    wiring = wire([node("last", input="b"), node("a", input="start"), node("b", input="a")])
    assert wiring.result == 0
    assert wiring.order == (1, 2, 0)


def test_every_fault_is_told_at_once():
    found = faults(
        node("a"), node("a"), node("start"), node("b", input="nowhere"), node("c", input="c")
    )
    assert [path for path, _ in found] == [
        (1, "id"), (2, "id"), (3, "input"), (4, "input"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("nodes", "expected"),
    [
        ([node("a", input="a")], [((0, "input"), "'a' <- 'a'")]),
        ([node("a", input="b"), node("b")], [((0, "input"), "'a' <- 'b' <- 'a'")]),
        (
            [node("a", input="b"), node("b", input="a"), node("c", input="d"), node("d")],
            [((0, "input"), "'a' <- 'b' <- 'a'"), ((2, "input"), "'c' <- 'd' <- 'c'")],
        ),
        (
            [node("a"), node("b", branches=["c"]), node("c", input="b")],
            [((1, "branches", 0, "node"), "'b' <- 'c' <- 'b'")],
        ),
        ([node(input="b"), node(), node("b")], [((0, "input"), "node 1 <- 'b' <- node 2")]),
    ],
)
def test_each_circle_is_told_once_where_it_closes(nodes, expected):
    found = faults(*nodes)
    assert len(found) == len(expected)
    for (path, words), (place, way) in zip(found, expected, strict=True):
        assert path == place
        assert "circle" in words
        assert way in words


def test_what_nothing_takes_is_told_unless_it_is_off():
    assert faults(node("a"), node("b", input="start")) == [((0,), "no node takes the light of 'a'")]
    assert faults(node("a"), node("b", input="start", enabled=False)) == []
    assert wire([node("a"), node("b", input="start", enabled=False)]).result == 0
    assert faults(node("a", enabled=False), node("b", input="start")) == []


@dataclass
class Stub:
    """A node of any states."""

    takes: State
    gives: State
    enabled: bool = True
    label: str = "stub"


def states(*pairs):
    return [Stub(State(takes), State(gives)) for takes, gives in pairs]


@pytest.mark.parametrize(
    ("tables", "kinds", "expected"),
    [
        ([node(), node()], [("scene", "scene")] * 2, []),
        ([node()], [("display", "scene")], [(0,)]),
        ([node()], [("scene", "display")], [(0,)]),
        (
            [node(), node(), node()],
            [("scene", "display"), ("display", "scene"), ("scene", "scene")],
            [],
        ),
        (
            [node("a", input="start"), node("b", input="start"), node(input="a", branches=["b"])],
            [("scene", "scene"), ("scene", "display"), ("scene", "scene")],
            [(2, "branches", 0, "node")],
        ),
        (
            [node("a", input="start"), node("b", input="start"), node(input="a", branches=["b"])],
            [("scene", "display"), ("scene", "display"), ("scene", "scene")],
            [(2,)],
        ),
    ],
)
def test_states_that_do_not_meet_are_told_where_the_light_enters(tables, kinds, expected):
    assert [fault.path for fault in state_faults(wire(tables), states(*kinds))] == expected


ids = st.sampled_from([None, "a", "b", "c", "start"])


@given(
    st.lists(
        st.builds(
            node, ids, ids, st.lists(st.sampled_from(["a", "b", "c"]), max_size=2), st.booleans()
        ),
        max_size=6,
    )
)
def test_any_list_is_either_ordered_or_told_what_is_wrong(nodes):
    wiring = wire(nodes)
    if wiring.faults:
        assert wiring.order == ()
        return
    for place, index in enumerate(wiring.order):
        assert all(source in (-1, *wiring.order[:place]) for source in wiring.sources(index))
    assert not nodes or wiring.result == wiring.order[-1]
