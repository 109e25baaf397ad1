"""The page's server: on this machine alone, for whoever has the address with its token."""

from __future__ import annotations

import asyncio
import json
import secrets
import socket
import struct
import time
from collections.abc import Awaitable, Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from lookkit.errors import InputError, LookkitError
from lookkit.evaluate import Runner
from lookkit.look import Look
from lookkit.media.jobs import Options
from lookkit.nodes.base import Op
from lookkit.page import jobs
from lookkit.page.changes import change_of, place_of
from lookkit.page.live import SPACES, Lattices, Shown, recorded_in
from lookkit.page.meeting import Unclear
from lookkit.page.pick import picked
from lookkit.page.pictures import (
    Domain,
    Picture,
    Pixels,
    all_trims,
    is_current,
    lights_of,
    read_picture,
    resized,
)
from lookkit.page.session import Session, moved
from lookkit.page.state import Counted, state_of
from lookkit.recipe.lines import Path as KeyPath
from lookkit.report.shown import as_bytes

HERE = Path(__file__).parent / "static"
KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
}
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
LONGEST = 1 << 16
"""Bytes of the longest message that the server takes."""
WATCHED = 0.3
"""Seconds between two looks at the recipe's file."""
WIDEST = 4096
"""Pixels across a picture of the full view."""
LIGHT, BEFORE, LATTICES, EXACT, TRIMMED = 1, 2, 3, 4, 5
"""Kinds of binary messages."""
SLOTS = 64
"""Sets of lattices that a page keeps: what is shown, what it is compared with, miniatures."""
SIZES = (17, 25, 33, 57)
MOST = SIZES[-1]
"""Points of lattices along an edge; with the most, 99.99 % of pixels are within 1/255."""
VIEW = 0xFFFF
"""The number of the picture in the full view."""


def packed(
    kind: int, data: bytes, *, seq: int = 0, index: int = 0, w: int = 0, h: int = 0
) -> bytes:
    """Return a binary message: five integers (32 bits, little-endian), then the data."""
    return struct.pack("<5I", kind, seq, index, w, h) + data


class Page:
    """One recipe with its pictures, and all pages that are open on it."""

    def __init__(
        self,
        session: Session,
        pictures: Sequence[Picture],
        options: Options,
        left_out: Sequence[str] = (),
    ) -> None:
        self.session = session
        self.left_out = list(left_out)
        self.pictures = list(pictures)
        self.options = options
        self.shown = Shown(Domain.of(lights_of(session.look, pictures)))
        self.counted = Counted(pictures)
        self.visitors: set[Visitor] = set()
        self.token = secrets.token_urlsafe(24)
        self.port = 0
        self.worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="lookkit-page")
        self.long_worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="lookkit-job")
        self.job: asyncio.Task[None] | None = None
        self._native: tuple[int, Picture] | None = None

    @property
    def output(self) -> str:
        """The output that is shown: the one asked for, or the first of standard range."""
        look = self.session.look
        if self.options.output in look.outputs:
            return str(self.options.output)
        plain = [name for name in look.outputs if not look.graph.output(name).is_hdr]
        return (plain or list(look.outputs))[0]

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://127.0.0.1:{self.port}/{self.token}/"

    async def run(self, work: Callable[[], Any]) -> Any:
        """Run work on the one thread that the session belongs to."""
        return await asyncio.get_running_loop().run_in_executor(self.worker, work)

    def state(self) -> dict[str, Any]:
        """Return everything that a page shows in words."""
        told = state_of(self.session, self.pictures, self.counted, self.output)
        return {**told, "leftOut": self.left_out}

    async def tell_all(self) -> None:
        """Send the state to every open page."""
        read = await self.run(self.read_again)
        state = json.dumps(await self.run(self.state))
        for visitor in list(self.visitors):
            await visitor.say(state)
            if read:
                await visitor.say({"what": "read", "pictures": read})

    async def watch(self) -> None:
        """Look at the file for ever, and tell what others changed."""
        while True:
            await asyncio.sleep(WATCHED)
            if await self.run(self.session.take_in):
                await self.tell_all()

    def read_again(self) -> list[int]:
        """Read the pictures again whose camera's steps have changed; return which."""
        look = self.session.look
        late = [n for n, one in enumerate(self.pictures) if not is_current(look, one)]
        for index in late:
            one = self.pictures[index]
            self.pictures[index] = read_picture(look, one.taken, one.share)
        if late:
            self._native = None
            self.shown = Shown(Domain.of(lights_of(look, self.pictures)))
            self.counted = Counted(self.pictures)
        return late

    def native(self, index: int) -> Picture:
        """Return a picture in its file's own size; only the last one is kept."""
        if self._native is None or self._native[0] != index:
            one = self.pictures[index]
            self._native = None
            self._native = (index, read_picture(self.session.look, one.taken, width=WIDEST))
        return self._native[1]


class Visitor:
    """One open page."""

    def __init__(self, page: Page, socket: Any) -> None:
        self.page = page
        self.socket = socket
        self.space = "srgb"
        self.lights: dict[int, Pixels] = {}
        self.view_whole: float | None = None
        self.trims: dict[int, tuple[Op, ...]] = {}
        self.has: dict[int, set[int]] = {}
        self._where: tuple[tuple[str, ...], KeyPath] | None = None
        self.resting: asyncio.Task[None] | None = None
        self._lock = asyncio.Lock()

    async def say(self, what: str | bytes | dict[str, Any]) -> None:
        """Send a message; one to a page that is gone is dropped."""
        from starlette.websockets import WebSocketDisconnect

        try:
            async with self._lock:
                if isinstance(what, bytes):
                    await self.socket.send_bytes(what)
                else:
                    await self.socket.send_text(what if isinstance(what, str) else json.dumps(what))
        except (RuntimeError, WebSocketDisconnect):
            self.page.visitors.discard(self)

    async def hear(self, message: dict[str, Any]) -> None:
        """Do what a message asks for; what cannot be done is told."""
        answers: dict[str, Callable[[dict[str, Any]], Awaitable[None]]] = {
            "size": self._size,
            "view": self._view,
            "move": self._move,
            "rest": self._rest,
            "edit": self._edit,
            "pick": self._pick,
            "other": self._other,
            "job": self._job,
        }
        ends = message.get("what") in ("size", "view", "move", "rest", "edit")
        if ends and self.resting is not None and not self.resting.done():
            self.resting.cancel()
            # Whether its lattices went out is not known.
            self.has.pop(0, None)
        try:
            await answers[message["what"]](message)
        except Unclear as question:
            if message["what"] == "move":
                # The hand decides when it lets go.
                await self.say({"what": "unclear", "text": str(question)})
                return
            choices = [{"text": text, "edit": edit} for text, edit in question.choices]
            await self.say({"what": "question", "text": str(question), "choices": choices})
        except LookkitError as error:
            await self.say({"what": "refused", "why": str(error), "seq": message.get("seq", 0)})
        except (KeyError, TypeError, ValueError, IndexError):
            await self.say({"what": "refused", "why": "the page asked for something unknown"})

    async def _size(self, message: dict[str, Any]) -> None:
        """Send all pictures at the width and in the colours in which the page draws them."""
        space = str(message.get("space", "srgb"))
        if space not in SPACES:
            raise ValueError(space)
        self.space = space
        width = min(max(int(message["width"]), 16), 4096)
        for index, picture in enumerate(self.page.pictures):

            def made(picture: Picture = picture) -> tuple[Pixels, Pixels]:
                high, wide = picture.light.shape[:2]
                size = (min(width, wide), max(1, round(high * min(width, wide) / wide)))
                before = picture.before.astype(np.float32)
                return resized(picture.light, *size), resized(before, *size)

            await self._say_picture(index, *await self.page.run(made))
        await self.say({"what": "sized"})

    async def _view(self, message: dict[str, Any]) -> None:
        """Send a part of one picture in the size of the full view."""
        index = _index(message["index"], len(self.page.pictures))
        x0, y0, x1, y1 = (float(message[key]) for key in ("x0", "y0", "x1", "y1"))
        width = min(max(int(message["width"]), 16), 4096)

        def made() -> tuple[Pixels, Pixels, float]:
            picture = self.page.native(index)
            high, wide = picture.light.shape[:2]
            left, right = sorted(int(np.clip(x * wide, 0, wide)) for x in (x0, x1))
            top, bottom = sorted(int(np.clip(y * high, 0, high)) for y in (y0, y1))
            part = np.s_[top : max(bottom, top + 1), left : max(right, left + 1)]
            light, before = picture.light[part], picture.before[part].astype(np.float32)
            size = (width, max(1, round(light.shape[0] * width / light.shape[1])))
            # Pixels that the whole picture's longer side has at the part's scale: texture needs it.
            whole = max(high, wide) * min(width / light.shape[1], 1.0)
            if light.shape[1] > width:
                light, before = resized(light, *size), resized(before, *size)
            return light, before, whole

        light, before, self.view_whole = await self.page.run(made)
        await self._say_picture(VIEW, light, before)

    async def _say_picture(self, index: int, light: Pixels, before: Pixels) -> None:
        """Send a picture's light before and after its trims, and the picture as recorded."""
        h, w = light.shape[:2]
        self.lights[index] = light
        if index != VIEW:
            self.trims.pop(index, None)

        def made() -> tuple[bytes, bytes]:
            shown = recorded_in(np.rint(before).astype(np.uint8), self.space)
            return self.page.shown.domain.coded(light).tobytes(), shown.tobytes()

        coded, shown = await self.page.run(made)
        await self.say(packed(LIGHT, coded, index=index, w=w, h=h))
        await self._say_trimmed(index)
        await self.say(packed(BEFORE, shown, index=index, w=w, h=h))

    async def _say_trimmed(self, index: int) -> None:
        """Send a picture's light after its trims, where it can be drawn and is not there yet.

        The full view has the trims that its picture has on the page.
        """
        page = self.page
        one = self._view_of if index == VIEW else index
        look, light = page.session.look, self.lights[index]
        had = self.trims.get(one, ())
        trims = had if index == VIEW else all_trims(look, page.pictures[one].place_in(look))
        if index != VIEW and trims == had:
            return

        def made() -> bytes | None:
            after = Runner(trims).run(light)
            held = index == VIEW or page.shown.domain.holds(after)
            return page.shown.domain.coded(after).tobytes() if held else None

        # Until all of it is sent, the picture is drawn from its light before all trims.
        self.trims.pop(index, None)
        coded = await page.run(made) if trims else None
        if coded is None:
            return
        h, w = light.shape[:2]
        await self.say(packed(TRIMMED, coded, index=index, w=w, h=h))
        if index != VIEW:
            self.trims[index] = trims

    async def _trim(self) -> None:
        """Send the pictures whose trims have changed, as they are after them."""
        had = dict(self.trims)
        for index in range(len(self.page.pictures)):
            if index in self.lights:
                await self._say_trimmed(index)
        if VIEW in self.lights and had.get(self._view_of) != self.trims.get(self._view_of):
            await self._say_trimmed(VIEW)

    async def _move(self, message: dict[str, Any]) -> None:
        """Send lattices of the look with one number moved, and that step's drawing."""
        from lookkit.page.drawings import drawing
        from lookkit.page.session import step_at

        session = self.page.session
        seq, size = int(message["seq"]), int(message.get("n", 25))

        def made() -> tuple[Look, KeyPath, Lattices, int]:
            start = time.thread_time()
            path = self._landed(message)
            count = len(path) - len(message["key"])
            look = moved(session.look, path[:count], path[count:], message["value"])
            found = self._lattices(look, size, moving=True)
            return look, path[:count], found, round(1e6 * (time.thread_time() - start))

        look, path, found, took = await self.page.run(made)
        await self._say_lattices(found, slot=0, seq=seq, size=size, took=took)
        if path[2:3] == ("overrides",):
            return
        drawn = await self.page.run(
            lambda: drawing(
                look, step_at(look.recipe, path), self.page.output, self.page.shown.quick
            )
        )
        await self.say({"what": "drawing", "step": message["step"], "drawing": drawn})

    def _landed(self, message: dict[str, Any]) -> KeyPath:
        """Return the path of what a hand moves, found once while neither text changes."""
        text = self.page.session.digest
        if message.get("base", text) == text:
            return (*message["step"], *message["key"])
        known = (message["base"], text, repr(message["step"]), repr(message["key"]))
        if self._where is None or self._where[0] != known:
            # A hand that moves has decided: what the file says of that number does not stop it.
            asked = {name: one for name, one in message.items() if name != "value"}
            self._where = (known, place_of(self.page.session, asked))
        return self._where[1]

    async def _rest(self, message: dict[str, Any]) -> None:
        """Send lattices of many points, then exact pictures, those looked at first."""
        seq, size = int(message["seq"]), int(message.get("n", MOST))
        order = [int(index) for index in message.get("order", [])]
        self.resting = asyncio.get_running_loop().create_task(self._exact(seq, size, order))

    async def _exact(self, seq: int, size: int, order: Sequence[int]) -> None:
        await self._trim()
        look, shown = self.page.session.look, self.page.shown
        found = await self.page.run(lambda: self._lattices(look, size))
        await self._say_lattices(found, slot=0, seq=seq, size=size, took=0)
        for index in order:
            light = self.lights.get(index)
            if light is None:
                continue
            one = self.page.pictures[self._view_of if index == VIEW else index]

            whole = self.view_whole if index == VIEW else None

            def made(
                one: Picture = one, light: Pixels = light, whole: float | None = whole
            ) -> bytes:
                output, space = self.page.output, self.space
                signal = shown.exact(look, one, light, output, space, whole)
                return as_bytes(signal).tobytes()

            shown_now = await self.page.run(made)
            h, w = light.shape[:2]
            await self.say(packed(EXACT, shown_now, seq=seq, index=index, w=w, h=h))
        await self.say({"what": "exact", "seq": seq})

    @property
    def _view_of(self) -> int:
        return self.page._native[0] if self.page._native else 0

    def _lattices(self, look: Look, size: int, *, slot: int = 0, moving: bool = False) -> Lattices:
        """Return the lattices of all pictures."""
        if size not in SIZES:
            raise ValueError(size)
        page = self.page
        places = [picture.place_in(look) for picture in page.pictures]
        # A take stays as it is shown when pictures get other trims: it is over light before them.
        trims = [] if slot else [self.trims.get(index, ()) for index in range(len(places))]
        return page.shown.lattices(
            look, places, page.output, size, self.space, trims=trims, moving=moving
        )

    async def _say_lattices(
        self, found: Lattices, *, slot: int, seq: int, size: int, took: int
    ) -> None:
        """Send which picture has which lattice, and those that the page does not have yet.

        Counts of pictures and lattices; a lattice for each picture, and whether it is over light
        after trims; each lattice's number, and whether it follows; then their codes.
        """
        had = self.has.get(slot, set())
        self.has[slot] = {one.number for one in found.made}
        head = [len(found.which), len(found.made), *found.which, *found.trimmed]
        head += [one.number for one in found.made]
        head += [one.number not in had for one in found.made]
        data = [one.values.tobytes() for one in found.made if one.number not in had]
        body = struct.pack(f"<{len(head)}I", *head) + b"".join(data)
        await self.say(packed(LATTICES, body, seq=seq, index=slot, w=size, h=took))

    async def _edit(self, message: dict[str, Any]) -> None:
        """Make a finished change; every page is told."""
        session = self.page.session
        try:
            await self.page.run(lambda: change_of(session, message))
        finally:
            await self.page.tell_all()

    async def _pick(self, message: dict[str, Any]) -> None:
        """Tell what a pixel is and what each step makes of it."""
        index = int(message["index"])
        light = self.lights[index]
        one = self.page.pictures[self._view_of if index == VIEW else index]
        h, w = light.shape[:2]
        x = min(max(int(float(message["x"]) * w), 0), w - 1)
        y = min(max(int(float(message["y"]) * h), 0), h - 1)
        found = await self.page.run(
            lambda: picked(self.page.session.look, one, light[y, x], self.page.output)
        )
        await self.say({"what": "picked", "index": index, "x": message["x"], "y": message["y"],
                        **found})  # fmt: skip

    async def _other(self, message: dict[str, Any]) -> None:
        """Send the lattices of a take: to be compared, or small ones for its miniature."""
        session = self.page.session
        take = session.take(str(message["take"]))
        slot, size = int(message.get("slot", 1)), int(message.get("n", MOST))
        if not 1 <= slot <= SLOTS:
            raise ValueError(slot)
        found = await self.page.run(
            lambda: self._lattices(session.look_of(take.text), size, slot=slot)
        )
        await self._say_lattices(found, slot=slot, seq=0, size=size, took=0)

    async def _job(self, message: dict[str, Any]) -> None:
        """Start a job of the hand-over; only one runs at a time."""
        page = self.page
        if page.job is not None and not page.job.done():
            raise InputError("something is being made already: wait for it")
        loop = asyncio.get_running_loop()
        kind = str(message["kind"])
        if kind not in jobs.JOBS:
            raise InputError(f"no job {kind!r}")

        def progress(what: str, done: int, total: int) -> None:
            asyncio.run_coroutine_threadsafe(tell({"what": "progress", "text": what, "done": done,
                                                   "total": total}), loop)  # fmt: skip

        async def tell(what: dict[str, Any]) -> None:
            for visitor in list(page.visitors):
                await visitor.say(what)

        async def work() -> None:
            try:
                made = await loop.run_in_executor(
                    page.long_worker, lambda: jobs.JOBS[kind](page, progress)
                )
                await tell({"what": "made", "text": made})
            except LookkitError as error:
                await tell({"what": "made", "text": str(error), "failed": True})

        page.job = loop.create_task(work())


def _index(value: Any, count: int) -> int:
    index = int(value)
    if not 0 <= index < count:
        raise IndexError(index)
    return index


def application(page: Page) -> Any:
    """Return the page as an ASGI application."""
    from starlette.applications import Starlette
    from starlette.responses import PlainTextResponse, Response
    from starlette.routing import Route, WebSocketRoute
    from starlette.websockets import WebSocketDisconnect

    def allowed(request: Any, *, origin_demanded: bool) -> bool:
        here = f"127.0.0.1:{page.port}"
        origin = request.headers.get("origin")
        if request.headers.get("host") != here:
            return False
        if origin is None and origin_demanded:
            return False
        if origin not in (None, f"http://{here}"):
            return False
        return secrets.compare_digest(request.path_params["token"].encode(), page.token.encode())

    async def static(request: Any) -> Any:
        if not allowed(request, origin_demanded=False):
            return PlainTextResponse("no", 403, HEADERS)
        name = request.path_params.get("name") or "page.html"
        if name not in FILES:
            return PlainTextResponse("nothing here", 404, HEADERS)
        return Response((HERE / name).read_bytes(), media_type=KINDS[Path(name).suffix],
                        headers=HEADERS)  # fmt: skip

    async def talk(socket: Any) -> None:
        if not allowed(socket, origin_demanded=True):
            await socket.close(1008)
            return
        await socket.accept()
        visitor = Visitor(page, socket)
        page.visitors.add(visitor)
        try:
            await visitor.say({**await page.run(page.state), "first": True})
            while True:
                message = json.loads(await socket.receive_text())
                await visitor.hear(message)
        except (WebSocketDisconnect, ValueError, KeyError):
            pass
        finally:
            page.visitors.discard(visitor)
            if visitor.resting is not None:
                visitor.resting.cancel()

    return Starlette(
        routes=[
            WebSocketRoute("/{token}/socket", talk),
            Route("/{token}/", static),
            Route("/{token}/{name}", static),
        ]
    )


FILES = frozenset(path.name for path in HERE.glob("*.*"))


def serve(page: Page, ready: Callable[[str], None], port: int = 0) -> None:
    """Serve the page until it is interrupted; `ready` is told the address."""
    try:
        import uvicorn
    except ImportError as error:
        raise LookkitError(
            "the page needs its server: install lookkit with its extra, lookkit[page]"
        ) from error
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("127.0.0.1", port))
        listening.listen(64)
    except OSError as error:
        raise InputError(f"port {port}: cannot be used ({error.strerror})") from error
    page.port = listening.getsockname()[1]
    config = uvicorn.Config(
        application(page), log_level="error", ws="websockets-sansio", ws_max_size=LONGEST,
        ws_per_message_deflate=False, access_log=False, server_header=False, lifespan="off",
    )  # fmt: skip
    server = uvicorn.Server(config)

    async def run() -> None:
        watching = asyncio.get_running_loop().create_task(page.watch())
        ready(page.address)
        try:
            await server.serve(sockets=[listening])
        finally:
            watching.cancel()

    asyncio.run(run())


def opened(
    recipe: Path, files: Sequence[str | Path], options: Options, at: Sequence[float] = (0.5,),
    progress: Callable[[str, int, int], None] = lambda what, done, total: None,
) -> Page:  # fmt: skip
    """Return a page of a recipe and its frames, ready to be served.

    Raises
    ------
    RecipeError, InputError
        If the recipe cannot be used, or none of the frames; all problems at once.
    """
    from lookkit.page.pictures import read_pictures

    session = Session(recipe)
    if not session.look.outputs:
        raise InputError(f"{recipe}: no outputs, expected at least one")
    pictures, left_out = read_pictures(session.look, files, replace(options), at, progress)
    if not pictures:
        none = "no frames were found, expected at least one still or clip"
        raise InputError("\n".join(left_out or [none]))
    return Page(session, pictures, options, left_out)
