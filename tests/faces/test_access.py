"""Who is let in: this computer, others with the code of this start, and nobody under a strange name."""

from __future__ import annotations

import asyncio
import contextlib
import http.client
import re
import socket
from urllib.parse import urlencode

import pytest

from balancer import launch
from balancer.app import access
from balancer.app.access import MOST_WRONG, MOST_WRONG_OF_ALL, PAUSE, Entry, entry_of, is_this_computer
from balancer.app.door import COOKIE, Door
from balancer.errors import OperationError
from tests.app_server import BALANCER_APP, running

CODE, PHONE, OTHER = "123456", "192.0.2.7", "192.0.2.8"


class Clock:
    now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def entry(clock):
    return Entry(CODE, clock)


@pytest.mark.parametrize("host", ["127.0.0.1", "127.3.2.1", "::1", "::ffff:127.0.0.1"])
def test_this_computer_needs_no_code(entry, host):
    assert is_this_computer(host)
    assert entry.admits(host, None)


@pytest.mark.parametrize(
    "host", [PHONE, "::ffff:192.0.2.7", "fe80::1", "", "localhost", "127.0.0.1.evil", None]
)
def test_all_else_is_another_computer(entry, host):
    assert not is_this_computer(host)
    assert not entry.admits(host, None)


@pytest.mark.parametrize("typed", [CODE, "123 456", " 123-456\n"])
def test_the_right_code_lets_in(entry, typed):
    token = entry.token_for(PHONE, typed)
    assert entry.admits(PHONE, token)


def test_no_other_token_lets_in(entry):
    token = entry.token_for(PHONE, CODE)
    name, signature = token.split(".")
    for bad in (
        "",
        ".",
        f"{name}.",
        f".{signature}",
        f"x{token}",
        token[:-1],
        f"{name}x.{signature}",
        "é.é",
        CODE,
    ):
        assert not entry.admits(PHONE, bad)


def test_a_token_of_another_start_does_not_let_in(entry):
    assert not Entry(CODE).admits(PHONE, entry.token_for(PHONE, CODE))


def test_after_five_wrong_codes_an_address_waits(entry, clock):
    assert [entry.token_for(PHONE, "000000") for _ in range(MOST_WRONG)] == [None] * MOST_WRONG
    assert entry.pause(PHONE) == PAUSE
    assert entry.token_for(PHONE, CODE) is None  # not even looked at
    assert entry.token_for(OTHER, CODE)  # another one does not wait for it
    clock.now += PAUSE
    assert entry.pause(PHONE) == 0
    assert entry.token_for(PHONE, CODE)


def test_a_right_code_forgets_the_wrong_ones(entry):
    for _ in range(2):
        for _ in range(MOST_WRONG - 1):
            entry.token_for(PHONE, "1")
        assert entry.token_for(PHONE, CODE)


def test_many_addresses_do_not_make_guessing_quicker(entry, clock):
    for k in range(MOST_WRONG_OF_ALL):
        entry.token_for(f"192.0.2.{k}", "999999")
    assert entry.pause("198.51.100.1") == PAUSE
    clock.now += PAUSE
    assert entry.pause("198.51.100.1") == 0


def test_memory_is_bounded(entry, clock):
    for k in range(2000):
        clock.now += PAUSE
        entry.token_for(f"host {k}", "999999")
    assert len(entry._counts) == access._REMEMBERED


def test_the_code_comes_with_the_start():
    arguments = launch.arguments(8501, "folder", launch.Network(("192.0.2.2",), code=CODE))
    assert entry_of(arguments).token_for(PHONE, CODE)
    assert entry_of(launch.arguments(8501, "folder")) is None
    assert entry_of(["--code"]) is None


# The door, driven as a server drives it


async def _inside(scope, receive, send):
    """What is behind the door."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
    else:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"inside"})


def ask(door, client=PHONE, *, kind="http", method="GET", path="/", query="", body=b"", **headers):
    """Send one request; give status (101 for an open WebSocket), headers and body."""
    names = {"host": "192.0.2.2:8501"} | {name.replace("_", "-"): value for name, value in headers.items()}
    if kind == "websocket":  # a page of the server's own, unless the test says otherwise
        names.setdefault("origin", f"http://{names['host']}")
    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "headers": [
            (name.encode(), value.encode("latin-1")) for name, value in names.items() if value is not None
        ],
        "client": None if client is None else (client, 50000),
        "server": ("192.0.2.2", 8501),
        "scheme": "http" if kind == "http" else "ws",
    }
    sent = []

    async def receive():
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message):
        sent.append(message)

    asyncio.run(door(scope, receive, send))
    if kind == "websocket":
        return {"websocket.accept": 101, "websocket.close": 403}[sent[0]["type"]], {}, b""
    got = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], got, b"".join(message.get("body", b"") for message in sent[1:])


HOSTS = ("localhost", "127.0.0.1", "192.0.2.2", "Workshop")


@pytest.fixture
def door(entry):
    return Door(_inside, HOSTS, entry)


def typed(code, **more):
    return {"method": "POST", "body": urlencode({"code": code}).encode(), **more}


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize(
    "path", ["/", "/_stcore/stream", "/_stcore/upload_file/a/b", "/media/a", "/bench/live"]
)
def test_no_route_is_a_way_around_the_code(door, kind, path):
    assert ask(door, kind=kind, path=path)[0] == 403
    assert ask(door, "127.0.0.1", kind=kind, path=path)[0] in (101, 200)


def test_the_code_opens_every_route_and_keeps_the_address(door):
    status, headers, body = ask(door, path="/recordings")
    assert (status, b"Code of six digits" in body) == (403, True)
    status, headers, _ = ask(door, path="/recordings", query="recording=ab", **typed("123 456"))
    assert (status, headers["location"]) == (303, "/recordings?recording=ab")
    assert re.search("HttpOnly; Path=/; SameSite=lax", headers["set-cookie"], re.IGNORECASE)
    cookie = f"a=b; odd[]={{x}}; {headers['set-cookie'].partition(';')[0]}"
    assert ask(door, path="/recordings", cookie=cookie)[2] == b"inside"
    assert ask(door, kind="websocket", path="/bench/live", cookie=cookie)[0] == 101
    assert ask(door, cookie=f"{COOKIE}=x.y")[0] == 403


@pytest.mark.parametrize(
    "path", ["//elsewhere.example/a", "/\\elsewhere.example", "/%0d%0aA: b", "/\r\nA: b"]
)
def test_the_code_leads_nowhere_else(door, path):
    location = ask(door, path=path, **typed(CODE))[1]["location"]
    assert re.match(r"/[^/\\]", location)
    assert not re.search(r"[\r\n]", location)


def test_wrong_codes_are_told_and_then_a_pause(door):
    for _ in range(MOST_WRONG - 1):
        assert b"That is not the code." in ask(door, **typed("000000"))[2]
    assert b"Wait 30 s" in ask(door, **typed("000000"))[2]
    assert b"Wait 30 s" in ask(door, **typed(CODE))[2]
    assert b"Wait 30 s" in ask(door)[2]


@pytest.mark.parametrize("body", [b"", b"code", b"\xff\x00", b"code=" + b"1" * 5000, b"other=123456"])
def test_odd_forms_do_not_open(door, body):
    assert ask(door, method="POST", body=body)[0] == 403


def test_nothing_typed_comes_back(door):
    page = ask(door, path="/<script>", query="<script>", **typed("<script>alert(1)</script>"))[2]
    assert b"script" not in page


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "elsewhere.example:8501", "", "[", "127.0.0.1.nip.example"]
)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_a_strange_name_is_refused_even_here(door, host, kind):
    """An attacker's name that leads to this computer (DNS rebinding) opens nothing."""
    assert ask(door, "127.0.0.1", kind=kind, host=host)[0] == 403


@pytest.mark.parametrize("host", ["localhost:8501", "127.0.0.1", "workshop:1", "WORKSHOP."])
def test_own_names_are_not(door, host):
    assert ask(door, "127.0.0.1", host=host)[0] == 200


@pytest.mark.parametrize(
    ("kind", "method", "origin", "status"),
    [
        ("websocket", "GET", "http://192.0.2.2:8501", 101),
        ("websocket", "GET", "http://192.0.2.2:9999", 403),
        ("websocket", "GET", "http://elsewhere.example", 403),
        ("websocket", "GET", "null", 403),
        ("websocket", "GET", None, 403),
        ("websocket", "GET", "http://[::1", 403),
        ("http", "PUT", "http://elsewhere.example", 403),
        ("http", "POST", "http://[", 403),
        ("http", "PUT", "http://192.0.2.2:8501", 200),
        ("http", "GET", "http://elsewhere.example", 200),
    ],
)
def test_a_page_of_somebody_else_changes_nothing(door, kind, method, origin, status):
    assert ask(door, "127.0.0.1", kind=kind, method=method, origin=origin)[0] == status


def test_without_a_code_only_this_computer_is_let_in():
    door = Door(_inside, HOSTS, None)
    assert ask(door, "127.0.0.1")[0] == 200
    assert ask(door)[0] == ask(door, None)[0] == ask(door, kind="websocket")[0] == 403
    assert b"Code" not in ask(door)[2]


# The whole server, from this computer's own address in its network


@pytest.fixture(scope="module")
def own_address():
    try:
        return launch.Network.of_this_computer().addresses[0]
    except OperationError:
        pytest.skip("this computer has no address but its loopback")


def status_of(host, port, method="GET", path="/", body=None, **headers):
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    with contextlib.closing(http.client.HTTPConnection(host, port, timeout=10)) as connection:
        connection.request(method, path, body, named)
        answer = connection.getresponse()
        return answer.status, dict(answer.getheaders()), answer.read()


def test_another_computer_needs_the_code(own_address, tmp_path, monkeypatch):
    monkeypatch.setenv("FORWARDED_ALLOW_IPS", "*")  # whoever says so in a header is still not this computer
    with running(tmp_path, (*BALANCER_APP, "--network")) as server:
        log = server.log.read_text()
        assert f"http://{own_address}:{server.port}" in log
        assert "Anyone in this network who knows the code" in log
        code = re.search(r"code: (\d{3} \d{3})", log)[1]
        assert status_of("127.0.0.1", server.port)[0] == 200
        upgrade = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec_WebSocket_Version": "13"}
        upgrade |= {"Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ=="}
        upgrade |= {"Origin": f"http://{own_address}:{server.port}"}
        lie = {"X_Forwarded_For": "127.0.0.1", "Forwarded": "for=127.0.0.1", "X_Real_IP": "127.0.0.1"}
        stream = "/_stcore/stream"
        assert status_of(own_address, server.port, **lie)[0] == 403
        assert status_of(own_address, server.port, path=stream, **upgrade, **lie)[0] == 403
        form = {"Content_Type": "application/x-www-form-urlencoded"}
        status, headers, _ = status_of(
            own_address, server.port, "POST", "/", urlencode({"code": code}), **form
        )
        assert status == 303
        cookie = headers["set-cookie"].partition(";")[0]
        status, _, body = status_of(own_address, server.port, Cookie=cookie)
        assert (status, b"<title>Streamlit" in body) == (200, True)
        with socket.create_connection((own_address, server.port), timeout=10) as link:
            lines = {"Host": f"{own_address}:{server.port}", "Cookie": cookie, **upgrade}
            head = "".join(f"{name.replace('_', '-')}: {value}\r\n" for name, value in lines.items())
            link.sendall(f"GET {stream} HTTP/1.1\r\n{head}\r\n".encode())
            assert link.recv(100).startswith(b"HTTP/1.1 101")


def test_without_a_network_it_is_said(balancer, monkeypatch):
    monkeypatch.setattr(launch, "_address_towards", lambda other: "")
    status, out, err = balancer("app", "--no-browser", "--network")
    assert (status, out) == (1, "")
    assert err == "this computer is in no network; join that of the phone, or leave --network out.\n"
