"""Stages of work on threads of their own, joined by short queues, so that they overlap."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final, TypeVar

T = TypeVar("T")
U = TypeVar("U")

_DEPTH: Final = 3
"""How many frames may wait between two stages: memory stays flat however long a clip is."""
_PATIENCE: Final = 0.2
"""Seconds after which a waiting stage looks whether the work was stopped."""
_START: Final = 2.0
"""Seconds in which a thread that was started is there."""


class _End:
    """What a stage sends after its last item, with what went wrong if something did."""

    def __init__(self, error: BaseException | None = None) -> None:
        self.error = error


class _Stopped(Exception):
    """The other side has gone."""


class _Stage:
    """A thread that starts with its first item and has ended when its context is left.

    Ctrl-C may be raised at any line of the main thread. What a stage works on is closed after
    it, so leaving waits for the thread even then: a decoder whose file is closed crashes.
    """

    def __init__(self, name: str, depth: int) -> None:
        self._queue: queue.Queue[Any] = queue.Queue(depth)
        self._stop = threading.Event()
        self._asked = False
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._whole, name=name, daemon=True)

    def _start(self) -> None:
        if not self._asked:
            self._asked = True
            self._thread.start()

    def _whole(self) -> None:
        try:
            if not self._stop.is_set():
                self._work()
        finally:
            self._ended.set()

    def _work(self) -> None:
        raise NotImplementedError

    def _wait(self) -> None:
        """Wait until the thread has ended; Ctrl-C meanwhile is raised after that."""
        interrupted = None
        until = time.monotonic() + _START
        while True:
            try:
                while self._asked and not self._ended.wait(_PATIENCE):
                    if self._thread.ident is None and time.monotonic() > until:
                        break  # Ctrl-C came before the thread was there.
                break
            except KeyboardInterrupt as error:
                interrupted = error
        if interrupted is not None:
            raise interrupted


class Ahead(_Stage, Iterator[T]):
    """Takes items from an iterable on a thread of its own, a few ahead of the reader.

    Use as a context manager: leaving it stops the thread and waits for it. Errors of the
    iterable are raised where the items are read.
    """

    def __init__(self, items: Iterable[T], depth: int = _DEPTH) -> None:
        super().__init__("lookkit-ahead", depth)
        self._items = items

    def __enter__(self) -> Ahead[T]:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._wait()

    def __next__(self) -> T:
        self._start()
        item: T | _End = self._queue.get()
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


class Behind(_Stage):
    """Hands items to a function on a thread of its own, in order.

    Use as a context manager: leaving it without an error waits until all is done and
    raises what the function raised; leaving it with an error drops what waits.
    """

    def __init__(self, work: Callable[[T], object], depth: int = _DEPTH) -> None:
        super().__init__("lookkit-behind", depth)
        self._work_on = work
        self._error: BaseException | None = None

    def __enter__(self) -> Behind:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        try:
            if kind is not None:
                self._stop.set()
            elif self._asked:
                _put_quietly(self._queue, _End(), self._stop)
        except BaseException:
            self._stop.set()
            raise
        finally:
            self._wait()
        if kind is None and self._error is not None:
            raise self._error

    def put(self, item: object) -> None:
        """Hand over an item; raise what the function raised for an earlier one."""
        self._start()
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
                self._work_on(item)
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
