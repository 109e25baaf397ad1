"""Who may talk to the page's server, and what it gives away."""

import asyncio
import http.client
import json

import pytest
import websockets
import websockets.exceptions

from tests.page.browser import Served
from tests.page.film import make_film


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    recipe, files = make_film(tmp_path_factory.mktemp("served"))
    server = Served(recipe, files)
    yield server
    server.close()


def ask(served, path: str, **headers: str) -> http.client.HTTPResponse:
    to = http.client.HTTPConnection("127.0.0.1", served.port, timeout=10)
    to.putrequest("GET", path, skip_host=True)
    for name, value in ({"Host": f"127.0.0.1:{served.port}"} | headers).items():
        to.putheader(name, value)
    to.endheaders()
    answer = to.getresponse()
    answer.body = answer.read()
    to.close()
    return answer


def token(served) -> str:
    return "/" + served.url.split("/")[3] + "/"


def test_the_page_is_given_to_who_has_its_address(served):
    answer = ask(served, token(served))
    assert answer.status == 200
    policy = answer.headers["Content-Security-Policy"]
    # W3C Content Security Policy Level 3: nothing but what is listed is loaded.
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert b"http" not in answer.body.replace(b"<!doctype html>", b"")


@pytest.mark.parametrize(
    ("path", "headers", "status"),
    [
        ("/", {}, 404),
        ("/wrong/", {}, 403),
        ("TOKEN", {"Host": "localhost"}, 403),
        ("TOKEN", {"Host": "film.example"}, 403),
        ("TOKEN", {"Origin": "http://film.example"}, 403),
        ("TOKEN", {"Origin": "null"}, 403),
        ("TOKENserver.py", {}, 404),
        ("TOKEN..%2fserver.py", {}, 404),
        ("TOKEN../../etc/passwd", {}, 404),
    ],
)
def test_everybody_else_gets_nothing(served, path, headers, status):
    answer = ask(served, path.replace("TOKEN", token(served)), **headers)
    assert answer.status == status
    assert b"Tested" not in answer.body


def socket(served, origin: str | None, secret: str | None = None):
    where = f"ws://127.0.0.1:{served.port}{secret or token(served)}socket"
    return websockets.connect(where, origin=origin, proxy=None, max_size=1 << 24)


@pytest.mark.parametrize("origin", [None, "null", "http://film.example", "http://localhost"])
def test_a_socket_must_come_from_the_page_itself(served, origin):
    async def talk():
        async with socket(served, origin):
            pass

    with pytest.raises(websockets.exceptions.InvalidStatus):
        asyncio.run(talk())


def test_a_message_that_is_nonsense_is_refused_and_the_next_one_is_answered(served):
    async def talk():
        async with socket(served, f"http://127.0.0.1:{served.port}") as to:
            state = json.loads(await to.recv())
            assert state["name"] == "Tested"
            told = []
            for message in (
                {"what": "?"},
                {"what": "pick", "index": 99, "x": 0, "y": 0},
                {"what": "view", "index": -1, "x0": 0, "y0": 0, "x1": 1, "y1": 1, "width": 9},
                {"what": "move", "step": ["look", 99], "key": ["mix"], "value": 1, "seq": 1},
                {"what": "move", "step": ["schema_"], "key": [], "value": 1, "seq": 1},
                {"what": "edit", "do": "set", "step": ["look", 1], "key": ["mix"], "value": 7},
                {"what": "job", "kind": "/etc/passwd"},
            ):
                await to.send(json.dumps(message))
                while True:
                    answer = json.loads(await to.recv())
                    if answer["what"] == "refused":
                        break
                told.append(answer["why"])
            return told

    assert len(asyncio.run(talk())) == 7


def test_a_message_of_seventy_kilobytes_ends_the_talk(served):
    async def talk():
        async with socket(served, f"http://127.0.0.1:{served.port}") as to:
            await to.recv()
            await to.send("x" * 70_000)
            await to.recv()

    with pytest.raises(websockets.exceptions.ConnectionClosedError) as closed:
        asyncio.run(talk())
    # RFC 6455, 7.4.1: 1009 is a message that is too big.
    assert closed.value.rcvd.code == 1009
