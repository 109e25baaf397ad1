"""Stages of work on threads of their own, joined by short queues, so that they overlap."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Iterator
from typing import Final, TypeVar

T = TypeVar("T")
U = TypeVar("U")

_DEPTH: Final = 3
"""How many frames may wait between two stages: memory stays flat however long a clip is."""
_PATIENCE: Final = 0.2
"""Seconds after which a waiting stage looks whether the work was stopped."""


class _End:
    """What a stage sends after its last item, with what went wrong if something did."""

    def __init__(self, error: BaseException | None = None) -> None:
        self.error = error


class _Stopped(Exception):
    """The other side has gone."""


class Ahead(Iterator[T]):
    """Takes items from an iterable on a thread of its own, a few ahead of the reader.

    Use as a context manager: leaving it stops the thread and waits for it. Errors of the
    iterable are raised where the items are read.
    """

    def __init__(self, items: Iterable[T], depth: int = _DEPTH) -> None:
        self._items = items
        self._queue: queue.Queue[T | _End] = queue.Queue(depth)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="lookkit-ahead", daemon=True)

    def __enter__(self) -> Ahead[T]:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def __next__(self) -> T:
        item = self._queue.get()
        if isinstance(item, _End):
            self._queue.put(item)
            if item.error is not None:
                raise item.error
            raise StopIteration
        return item

    def _work(self) -> None:
        iterator = iter(self._items)
        end = _End()
        try:
            for item in iterator:
                _put(self._queue, item, self._stop)
        except _Stopped:
            return
        except BaseException as error:
            end = _End(error)
        finally:
            close = getattr(iterator, "close", None)
            if close is not None:
                close()
        _put_quietly(self._queue, end, self._stop)


class Behind:
    """Hands items to a function on a thread of its own, in order.

    Use as a context manager: leaving it without an error waits until all is done and
    raises what the function raised; leaving it with an error drops what waits.
    """

    def __init__(self, work: Callable[[T], object], depth: int = _DEPTH) -> None:
        self._work_on = work
        self._queue: queue.Queue[object] = queue.Queue(depth)
        self._stop = threading.Event()
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._work, name="lookkit-behind", daemon=True)

    def __enter__(self) -> Behind:
        self._thread.start()
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if kind is not None:
            self._stop.set()
        _put_quietly(self._queue, _End(), self._stop)
        self._thread.join()
        if kind is None and self._error is not None:
            raise self._error

    def put(self, item: object) -> None:
        """Hand over an item; raise what the function raised for an earlier one."""
        try:
            _put(self._queue, item, self._stop)
        except _Stopped:
            if self._error is not None:
                raise self._error from None
            raise

    def _work(self) -> None:
        while not self._stop.is_set():
            try:
                item = self._queue.get(timeout=_PATIENCE)
            except queue.Empty:
                continue
            if isinstance(item, _End):
                return
            try:
                self._work_on(item)  # type: ignore[arg-type]
            except BaseException as error:
                self._error = error
                self._stop.set()


def _put(into: queue.Queue[U], item: U, stop: threading.Event) -> None:
    while not stop.is_set():
        try:
            into.put(item, timeout=_PATIENCE)
        except queue.Full:
            continue
        return
    raise _Stopped


def _put_quietly(into: queue.Queue[U], item: U, stop: threading.Event) -> None:
    try:
        _put(into, item, stop)
    except _Stopped:
        return
