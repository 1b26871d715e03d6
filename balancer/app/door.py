"""The door of the server: every request of every route passes here, before it reaches a page.

Streamlit checks host and origin of its own WebSocket only, and asks a server elsewhere for this computer's
public address before it refuses an origin: so both are checked here first.
"""

from __future__ import annotations

from collections.abc import Sequence
from http.cookies import CookieError, SimpleCookie
from math import ceil
from urllib.parse import parse_qs, quote, urlsplit

from starlette.requests import HTTPConnection, Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from balancer.app.access import Entry, is_this_computer

COOKIE = "balancer_entry"

_LONGEST_FORM = 1000  # bytes
_READING = frozenset({"GET", "HEAD", "OPTIONS"})


class Door:
    """What stands before all routes.

    Parameters
    ----------
    app : ASGI application
        What is behind.
    hosts : sequence of str
        Names and addresses under which this computer is reached; others are refused, so that no name of
        somebody else's can be made to lead here (DNS rebinding).
    entry : Entry, optional
        The way in for other computers; without it there is none.
    """

    def __init__(self, app: ASGIApp, hosts: Sequence[str], entry: Entry | None) -> None:
        self._app, self._entry = app, entry
        self._hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass, refuse it, or ask for the code."""
        if scope["type"] not in ("http", "websocket"):  # start and end of the server
            await self._app(scope, receive, send)
            return
        asked = HTTPConnection(scope)
        if not self._own_name(asked) or not _own_page(asked):
            await _refuse(scope, receive, send)
        elif self._admits(asked):
            await self._app(scope, receive, send)
        elif self._entry is None or scope["type"] == "websocket":
            await _refuse(scope, receive, send)
        else:
            await (await _ask(self._entry, Request(scope, receive)))(scope, receive, send)

    def _admits(self, asked: HTTPConnection) -> bool:
        host = _client(asked)
        return is_this_computer(host) if self._entry is None else self._entry.admits(host, _token(asked))

    def _own_name(self, asked: HTTPConnection) -> bool:
        try:
            name = urlsplit(f"//{asked.headers.get('host', '')}").hostname or ""
        except ValueError:
            return False
        return name.rstrip(".") in self._hosts


def _own_page(asked: HTTPConnection) -> bool:
    """Say whether a request that can change something comes from a page of ours, where a browser tells.

    For a WebSocket a browser always does (RFC 6455, section 4.1); whoever does not is no page.
    """
    origin = asked.headers.get("origin")
    if asked.scope["type"] == "http" and (origin is None or asked.scope["method"] in _READING):
        return True
    try:
        return urlsplit(origin or "").netloc == asked.headers.get("host")
    except ValueError:
        return False


def _client(asked: HTTPConnection) -> str | None:
    return None if asked.client is None else asked.client.host


def _token(asked: HTTPConnection) -> str | None:
    # the whole header may hold cookies of other programs of this computer: any port shares them
    for header in asked.headers.getlist("cookie"):
        for part in header.split(";"):
            try:
                found = SimpleCookie(part.strip()).get(COOKIE)
            except CookieError:
                continue
            if found is not None:
                return found.value
    return None


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})  # before it was accepted: status 403
        return
    answer = PlainTextResponse("This page is not to be had under this name or from that page.", 403)
    await answer(scope, receive, send)


async def _ask(entry: Entry, request: Request) -> Response:
    """Ask for the code, or look at the one that was typed."""
    host = _client(request)
    if host is None:
        return PlainTextResponse("It is not known where this comes from.", 403)
    if request.method != "POST":
        return _page(entry.pause(host))
    typed = await _typed(request)
    token = entry.token_for(host, typed)
    if token is None:
        return _page(entry.pause(host), wrong=True)
    # always a path of this server: one that begins with two slashes would lead elsewhere
    path = "/" + quote(request.url.path.lstrip("/\\"))
    answer = RedirectResponse(f"{path}?{request.url.query}" if request.url.query else path, 303)
    answer.set_cookie(COOKIE, token, httponly=True, samesite="lax")
    return answer


async def _typed(request: Request) -> str:
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > _LONGEST_FORM:
            return ""
    return parse_qs(body.decode("latin-1")).get("code", [""])[0]


def _page(pause: float, *, wrong: bool = False) -> HTMLResponse:
    """Show the box for the code; nothing that came from outside is on this page."""
    words = ""
    if pause > 0:
        words = f"Too many wrong codes. Wait {ceil(pause)} s, then type it again."
    elif wrong:
        words = "That is not the code. Look at it again where the program was started."
    told = f'<p id="told" role="alert">{words}</p>' if words else ""
    text = _PAGE.replace("<!--told-->", told)
    # a browser keeps an answer of this kind for nobody
    headers = {"Cache-Control": "no-store", "Content-Security-Policy": _POLICY, "X-Frame-Options": "DENY"}
    return HTMLResponse(text, 403, headers)


_POLICY = "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'"
_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Balance a rotor: code</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
:root{color-scheme:light dark}
body{font:1.1rem/1.5 system-ui,sans-serif;max-width:24rem;margin:0 auto;padding:3rem 1.25rem;
background:light-dark(#fff,#171614);color:light-dark(#1a1a1a,#f0efed)}
h1{font-size:1.6rem}
label{display:block;font-weight:600}
input,button{font:inherit;box-sizing:border-box;width:100%;min-height:3.25rem;margin-top:.5rem;border-radius:.5rem}
input{font-size:1.6rem;letter-spacing:.2em;text-align:center;background:light-dark(#fff,#242322);color:inherit;
border:1px solid light-dark(#6b7280,#a39f97)}
button{border:0;background:#0b6bcb;color:#fff;font-weight:600}
#told{border-left:.3rem solid #c2410c;padding-left:.75rem}
</style></head><body><main>
<h1>Balance a rotor</h1>
<p>You look from another computer or a phone. Type the code that stands where the program was started.</p>
<!--told-->
<form method="post"><label for="code">Code of six digits</label>
<input id="code" name="code" inputmode="numeric" maxlength="12" autocomplete="one-time-code"
required autofocus>
<button>Open</button></form>
</main></body></html>
"""
