"""How the nodes of a list hang together: a directed acyclic graph, and all that is wrong with it.

Each node follows the one above it; `input` names another, and a blend's branches name more.
The result of the list is the one node that no other takes. What it says depends on the
edges alone, not on the order of the list.

It reads nodes as plain tables as well as models, so that a recipe with other problems still
hears about its graph.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Any

from lookkit.errors import expected_one_of
from lookkit.nodes.base import Node
from lookkit.spaces.working import State

START = "start"
"""The name of the light before the first node."""

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong; `path` counts from the list of nodes."""

    path: Path
    found: str
    expected: str


@dataclass(frozen=True)
class Plug:
    """A place where a node takes light: its key within the node, and from where."""

    key: Path
    source: int
    """The node's index in the list; -1 is the start."""
    default: bool = False


@dataclass(frozen=True)
class Wiring:
    """The edges of a list of nodes.

    Attributes
    ----------
    plugs
        For each node its inputs, its own first.
    order
        The nodes that the result depends on, each after all that it takes.
    result
        The node whose light is the list's; -1 where there are no nodes.
    faults
        With any, `order` is empty.
    """

    plugs: tuple[tuple[Plug, ...], ...]
    order: tuple[int, ...]
    result: int
    faults: tuple[Fault, ...]

    def sources(self, index: int) -> tuple[int, ...]:
        """Return the nodes whose light node `index` takes."""
        return tuple(plug.source for plug in self.plugs[index])


@dataclass(frozen=True)
class _End:
    """A node, as far as the wiring is concerned."""

    id: str | None
    enabled: bool
    inputs: tuple[tuple[Path, str | None], ...]


def wire(nodes: Sequence[Node | Mapping[str, Any]]) -> Wiring:
    """Return the edges of `nodes`, with every fault: ids, names, circles, unused nodes."""
    ends = [_end(node) for node in nodes]
    faults: list[Fault] = []
    places: dict[str, int] = {}
    for index, end in enumerate(ends):
        if end.id == START:
            faults.append(Fault((index, "id"), f"{START!r} names the light before the first node",
                                "another id"))  # fmt: skip
        elif end.id is not None and end.id in places:
            first = places[end.id] + 1
            what = f"{end.id!r} is the id of the list's node number {first} already"
            faults.append(Fault((index, "id"), what, "an id of its own"))
        elif end.id is not None:
            places[end.id] = index
    plugs = []
    for index, end in enumerate(ends):
        found = []
        for key, name in end.inputs:
            source = index - 1 if name is None else -1 if name == START else places.get(name)
            if source is None:
                choices = [START, *(one for one in places if one != end.id)]
                faults.append(Fault((index, *key), f"no node has the id {name!r}",
                                    expected_one_of(str(name), choices)))  # fmt: skip
                source = -1
            found.append(Plug(key, source, default=name is None))
        plugs.append(tuple(found))
    circles = list(_circles(plugs, ends))
    faults += circles
    if faults:
        return Wiring(tuple(plugs), (), -1, tuple(faults))
    result = _result(plugs, ends)
    order = _order(plugs, result)
    for index, end in enumerate(ends):
        if end.enabled and index not in order:
            faults.append(Fault((index,), f"no node takes the light of {_name(index, ends)}",
                                "a node that names it, or enabled = false"))  # fmt: skip
    return Wiring(tuple(plugs), () if faults else order, result, tuple(faults))


def state_faults(wiring: Wiring, nodes: Sequence[Node | None]) -> list[Fault]:
    """Return where states do not meet: along the edges, into the list and out of it.

    Unknown nodes (None) are taken to fit.
    """
    faults: list[Fault] = []
    gives: dict[int, State] = {-1: State.SCENE}
    for index in wiring.order:
        node, plugs = nodes[index], wiring.plugs[index]
        arriving = gives[plugs[0].source]
        joins = len(plugs) > 1
        wanted = arriving if node is None or not node.enabled or joins else node.takes
        gives[index] = wanted if node is None or not node.enabled or joins else node.gives
        for plug in plugs:
            found = gives[plug.source]
            if found == wanted:
                continue
            path = (index,) if plug.default else (index, *plug.key)
            kind = "a node" if node is None else node.label
            what = (
                f"this branch gives {found}, the node's own input gives {wanted}"
                if joins
                else f"{kind} takes {wanted}, what comes before it gives {found}"
            )
            faults.append(Fault(path, what, f"{wanted} light"))
    if wiring.order and gives[wiring.result] != State.SCENE:
        faults.append(Fault((wiring.result,), f"the list ends in {gives[wiring.result]}",
                            "a last node that gives scene light"))  # fmt: skip
    return faults


def _end(node: Node | Mapping[str, Any]) -> _End:
    get: Callable[[Any, str], Any] = (
        (lambda table, key: table.get(key)) if isinstance(node, Mapping) else _attribute
    )
    inputs: list[tuple[Path, str | None]] = [(("input",), _text(get(node, "input")))]
    if get(node, "kind") == "blend":
        branches = get(node, "branches")
        for place, branch in enumerate(branches if isinstance(branches, list | tuple) else ()):
            name = _text(branch.get("node") if isinstance(branch, Mapping) else
                         getattr(branch, "node", None))  # fmt: skip
            if name is not None:
                inputs.append((("branches", place, "node"), name))
    return _End(_text(get(node, "id")), get(node, "enabled") is not False, tuple(inputs))


def _attribute(node: Node, key: str) -> Any:
    return getattr(node, key, None)


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _name(index: int, ends: Sequence[_End]) -> str:
    return repr(ends[index].id) if ends[index].id else f"node {index + 1}"


def _result(plugs: Sequence[Sequence[Plug]], ends: Sequence[_End]) -> int:
    taken = {plug.source for node in plugs for plug in node}
    free = [index for index in range(len(plugs)) if index not in taken]
    return max([index for index in free if ends[index].enabled] or free, default=-1)


def _order(plugs: Sequence[Sequence[Plug]], result: int) -> tuple[int, ...]:
    """Return what `result` depends on, sources first; the graph has no circle.

    Depth first along the inputs, so that the order of the list does not matter.
    """
    order: list[int] = []
    waiting = [(result, False)] if result >= 0 else []
    seen: set[int] = set()
    while waiting:
        index, done = waiting.pop()
        if done:
            order.append(index)
        elif index >= 0 and index not in seen:
            seen.add(index)
            waiting.append((index, True))
            waiting += [(plug.source, False) for plug in reversed(plugs[index])]
    return tuple(order)


def _circles(plugs: Sequence[Sequence[Plug]], ends: Sequence[_End]) -> Iterator[Fault]:
    """Yield one fault for each circle, at the input by which it closes."""
    left = set(range(len(plugs)))
    # What takes nothing from the nodes left is on no circle.
    for _ in count():
        free = {i for i in left if not any(plug.source in left for plug in plugs[i])}
        if not free:
            break
        left -= free
    while left:
        walk: list[int] = []
        at = min(left)
        while at not in walk:
            walk.append(at)
            at = next(plug.source for plug in plugs[at] if plug.source in left)
        circle = walk[walk.index(at) :]
        named = [
            (index, plug)
            for position, index in enumerate(circle)
            for plug in plugs[index]
            if plug.source == circle[(position + 1) % len(circle)] and not plug.default
        ]
        closing, plug = min(named, key=lambda pair: pair[0])
        turned = circle[circle.index(closing) :] + circle[: circle.index(closing)]
        way = " <- ".join(_name(index, ends) for index in [*turned, closing])
        yield Fault((closing, *plug.key), f"the light goes in a circle: {way}",
                    "a node that does not depend on this one")  # fmt: skip
        # Every node that leads into this circle or lies on it is told about by this one.
        gone = set(circle)
        while more := {i for i in left - gone if any(p.source in gone for p in plugs[i])}:
            gone |= more
        left -= gone
