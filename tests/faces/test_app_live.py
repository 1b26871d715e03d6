"""The live page by its widgets, with a bench that only notes what it is told; its route and its messages."""

from __future__ import annotations

import asyncio
import json
import math
import re
import struct
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from starlette.applications import Starlette
from streamlit.testing.v1 import AppTest

from balancer import app
from balancer.app import services
from balancer.app.bench import BenchFile, BenchView, Capture, Wish
from balancer.app.live import plain_picture, route, words
from balancer.app.live.message import now_message, pack, slow_message
from balancer.core.masses import Mass
from balancer.errors import OperationError
from balancer.live.ports import Port
from balancer.live.scope import Scope
from balancer.live.segment import DecodedBlock
from balancer.recording.hello import Hello

MAIN = str(Path(app.__file__).with_name("main.py"))
HELLO = Hello(1, ("x", "y", "z"), "m/s^2", 0.001, 1600.0, 1e6, 32, 1, "crc16")
OFF = BenchView()
RUNNING = BenchView(
    "running",
    "simulated:propeller:1",
    simulated=True,
    file=Path("/nowhere/2026-01-01.stream"),
    started=datetime(2026, 1, 1).astimezone(),
    seconds=12.0,
    samples=19200,
    rate=1600.2,
    age=0.1,
    steady=True,
    still_for=9.0,
    hello="invented board",
    marks=900,
)
VECTORS = (2.0 * np.exp(0.5j), 0.7 * np.exp(-1.0j), 0.1 + 0j)


def turned(seconds=3.0, marks=True, hz=80.0):
    """A scope that has seen a rotor turn."""
    scope = Scope()
    times = np.arange(int(seconds * 1600)) / 1600
    shaft = 2 * np.pi * hz * times
    noise = 0.05 * np.random.default_rng(1).standard_normal((3, times.size))
    samples = np.array([np.real(np.conj(v) * np.exp(1j * shaft)) for v in VECTORS]) + noise
    some = np.arange(int(seconds * hz)) / hz if marks else np.zeros(0)
    scope.add(DecodedBlock(0, HELLO, times, samples, some, ()))
    return scope


class FakeBench:
    """Notes what it is told."""

    def __init__(self):
        self.told, self.now, self.files, self.scope = [], OFF, (), turned()

    def view(self):
        return self.now

    def recordings(self):
        return self.files

    def start(self, source, *, masses=()):
        self.told.append(("start", source))
        if "busy" in source:
            raise OperationError("the port is in use by another program", todo="close that program")
        self.now = replace(RUNNING, source=source, simulated=source.startswith("simulated"))

    def stop(self):
        self.told.append(("stop",))
        self.now = replace(self.now, state="stopped")

    def pick_up(self):
        self.told.append(("pick_up",))
        self.now = replace(self.now, state="running", trouble="")

    def tell(self, **words):
        self.told.append(("tell", words))


@pytest.fixture(autouse=True)
def bench(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["main.py", "--home", str(tmp_path)])
    fake = FakeBench()
    monkeypatch.setattr(services, "bench", lambda home: fake)
    return fake


@pytest.fixture
def opened(bench):
    def opened(**query):
        page = AppTest.from_file(MAIN, default_timeout=30)
        for name, value in query.items():
            page.query_params[name] = value
        page.run()
        page.switch_page("views/live.py").run()
        assert not page.exception
        return page

    return opened


def click(page, key):
    page.button(key=key).click().run()
    assert not page.exception
    return page


def said(*groups):
    """What is shown, without the backslashes that keep Markdown from reading it."""
    return re.sub(r"\\(.)|\u2060", r"\1", "\n".join(e.value for group in groups for e in group))


def keys(page):
    return {button.key for button in page.button}


def primary(page):
    return [button.key for button in page.button if button.proto.type == "primary"]


def pictures(page):
    return [m.value for m in page.markdown if "<svg" in m.value]


def test_the_first_minute_works_with_nothing_plugged_in(opened, bench):
    page = opened()
    assert primary(page) == ["live_start"]
    click(page, "live_start")
    assert bench.told == [("start", "simulated:propeller:1")]
    assert primary(page) == ["live_stop"]
    assert {m.label: m.value for m in page.metric}["Samples"] == "19,200"
    assert "Simulated propeller 1: running. The board says: invented board." in said(page.markdown)
    click(page, "live_stop")
    assert bench.told[-1] == ("stop",)
    assert primary(page) == ["live_start"]


def test_another_simulated_part(opened, bench):
    page = opened()
    page.button_group(key="live_kind").set_value("bell").run()
    page.number_input(key="live_number").set_value(42).run()
    click(page, "live_start")
    assert bench.told == [("start", "simulated:bell:42")]


def test_the_simulated_bench_is_told_speed_and_tape(opened, bench):
    bench.now = RUNNING
    page = opened(angles="with")
    page.slider(key="live_speed").set_value(6000).run()
    assert bench.told == [("tell", {"speed_rpm": 6000.0})]
    page.number_input(key="live_angle").set_value(90.0).run()
    click(page, "live_put_on")
    ((_, told),) = bench.told[1:]
    (mass,) = told["masses"]
    assert isinstance(mass, Mass)
    assert (mass.mass, mass.radius, mass.angle) == pytest.approx((3e-5, 0.06, math.radians(270)))
    assert "On it now: 0.03 g at 60 mm, 90° with the rotation." in said(page.caption)
    click(page, "live_take_off")
    assert bench.told[-1] == ("tell", {"masses": ()})


@pytest.mark.parametrize("state", ["waiting", "recording"])
def test_the_rotor_is_left_alone_while_a_run_is_recorded(opened, bench, state):
    """The run would be kept with masses that were not on it."""
    bench.now = replace(RUNNING, capture=Capture(Wish("a job", "run 2"), state))
    page = opened()
    for key in ("live_put_on", "live_take_off"):
        click(page, key)
        assert "run 2 is being recorded with what is on the rotor now; wait" in said(page.error)
    assert bench.told == []
    page.number_input(key="live_grams").set_value(0.0).run()
    click(page, "live_put_on")
    assert "the tape has no mass or no radius" in said(page.error)


@pytest.mark.parametrize(
    ("typed", "source", "problem"),
    [
        ("192.168.4.1:3333", "socket://192.168.4.1:3333", ""),
        ("socket://bench-board.local:80", "socket://bench-board.local:80", ""),
        ("", None, "no network address is typed; type address and port, such as 192.168.4.1:3333."),
        ("http://x:1/<b>", None, "'http://x:1/<b>' is no network address"),
        ("a:99999", None, "'a:99999' is no network address"),
    ],
)
def test_network_address(opened, bench, typed, source, problem):
    page = opened()
    page.button_group(key="live_source").set_value("network").run()
    assert "Before it turns: stand clamped" in said(page.warning)
    page.text_input(key="live_address").set_value(typed).run()
    click(page, "live_start")
    assert bench.told == ([("start", source)] if source else [])
    assert problem in said(page.error)


def test_serial_ports(opened, bench, monkeypatch):
    page = opened()
    monkeypatch.setattr("balancer.app.live.ask.ports", list)
    page.button_group(key="live_source").set_value("port").run()
    assert "No serial port is there" in said(page.markdown)
    click(page, "live_start")
    assert "no serial port is there; plug the board in and look again." in said(page.error)
    found = [Port("/dev/ttyACM0", "*board*", "1234:abcd", "busy1"), Port("/dev/ttyS0", "")]
    monkeypatch.setattr("balancer.app.live.ask.ports", lambda: found)
    click(page, "live_look")
    box = page.selectbox(key="live_port")
    assert box.options[0] == "/dev/ttyACM0, *board* (the only one on USB, so probably the board)"
    click(page, "live_start")
    assert bench.told == [("start", "board:busy1")]
    assert "the port is in use by another program; close that program." in said(page.error)
    assert primary(page) == ["live_start"]


def test_replay(opened, bench, tmp_path):
    page = opened()
    page.button_group(key="live_source").set_value("file").run()
    click(page, "live_start")
    assert "no recording is kept yet" in said(page.error)
    file = BenchFile("a.stream", tmp_path / "a.stream", datetime(2026, 1, 2, 3, 4, 5), 25_400_000)
    bench.files = (file,)
    page.run()
    assert page.selectbox(key="live_file").options == ["2026-01-02 03:04:05, 25.4 MB"]
    click(page, "live_start")
    assert bench.told == [("start", f"file:{file.path}")]


def test_a_lost_source_is_told_and_picked_up(opened, bench):
    bench.now = replace(RUNNING, source="serial:COM3", simulated=False, state="lost")
    bench.now = replace(bench.now, trouble="COM3 went away *now*.")
    page = opened()
    assert "COM3 went away *now*." in said(page.error)
    assert primary(page) == ["live_pick_up"]
    assert "live_start" in keys(page)
    click(page, "live_pick_up")
    assert bench.told == [("pick_up",)]
    assert primary(page) == ["live_stop"]


def test_what_was_recorded_can_be_taken_away(opened, bench, tmp_path):
    file = tmp_path / "2026-01-01.stream"
    file.write_bytes(b"x" * 1500)
    bench.now = replace(RUNNING, state="stopped", file=file)
    page = opened()
    assert "The recording is kept: 2026-01-01.stream, 12 s, 1.5 kB." in said(page.markdown)
    assert [b.proto.label for b in page.get("download_button")] == ["Download the recording"]
    file.unlink()
    page.run()
    assert not page.exception
    assert not page.get("download_button")


def test_the_plain_picture(opened, bench):
    bench.now = RUNNING
    page = opened()
    assert pictures(page) == []
    page.button_group(key="live_picture").set_value("plain").run()
    polar, spectrum, signal = pictures(page)
    assert "1x 2.00 m/s² at 29°" in polar
    assert "Spectrum of x: highest 2.00 m/s² at order 1.00" in spectrum
    assert "2x, blade pass" in spectrum
    assert "Signal of x over one turn" in signal
    assert re.search(
        r"1x on x: 2\.00 ± 0\.00\d+ m/s² at 29° ± 0\.\d+° against the rotation", said(page.markdown)
    )
    shown = {m.label: m.value for m in page.metric}
    assert (shown["Speed (rpm)"], shown["Speed steady"], shown["1x phase (°)"]) == ("4,800", "9 s", "29")
    page.button_group(key="live_axis").set_value("y").run()
    page.button_group(key="direction").set_value("with").run()
    assert "at 57°" in pictures(page)[0]
    bench.now = replace(RUNNING, age=3.0)
    page.run()
    assert pictures(page) == []
    assert "No data." in said(page.markdown)


def test_the_plain_picture_without_marks(opened, bench):
    bench.now = replace(RUNNING, source="socket://a:1", simulated=False, marks=0)
    bench.scope = turned(marks=False)
    page = opened()
    page.button_group(key="live_picture").set_value("plain").run()
    spectrum, signal = pictures(page)
    assert "highest 2.00 m/s² at 80.0 Hz" in spectrum
    assert "over the last quarter second" in signal
    assert "No marks come" in said(page.info)


def test_what_is_noticed():
    assert words.noticed(RUNNING) == []
    few = replace(RUNNING, lost=30, gaps=2)
    assert words.noticed(few) == []  # fewer than change anything
    many = replace(RUNNING, lost=300, gaps=4, age=5.2, marks=0)
    texts = " ".join(text for _, text in words.noticed(many))
    assert "300 samples are missing in 4 gaps" in texts
    assert "Nothing has come for 5 s" in texts
    assert "No marks come" in texts
    assert words.age_text(OFF) == "–"
    assert words.age_text(many) == "no data, 5"
    nonsense = replace(RUNNING, samples=0, seconds=0.0, marks=0, age=math.inf)
    ((severity, text),) = words.noticed(nonsense)
    assert severity == "warning"
    assert text.startswith("Nothing that can be read has come yet: is it the right port")
    assert words.noticed(replace(nonsense, started=datetime.now().astimezone())) == []


def test_a_phase_counts_as_the_person_chose_in_both_pictures():
    frame = turned().frame()
    for way, degrees in (("against", 29), ("with", 331)):
        assert f"at {degrees}°" in plain_picture.vector_line(RUNNING, frame, 0, way)
        assert f"at {degrees}°" in plain_picture.polar_drawing(frame, 0, way, "cw")


# Messages


def unpack(message):
    """Read a message as the page does."""
    (length,) = struct.unpack_from("<I", message)
    header, at = json.loads(message[4 : 4 + length]), 4 + length
    assert at % 4 == 0
    for name, rows, columns in header["arrays"]:
        header[name] = np.frombuffer(message, "<f4", rows * columns, at).reshape(rows, columns)
        at += 4 * rows * columns
    assert at == len(message)
    return header


def test_messages_hold_what_the_scope_found():
    frame = turned().frame()
    now, slow = unpack(now_message(RUNNING, frame)), unpack(slow_message(frame))
    assert now["rpm"] == pytest.approx(4800, abs=1)
    assert now["now"][0] + 1j * now["now"][1] == pytest.approx(np.array(VECTORS), abs=0.02)
    assert now["mean"] == pytest.approx(frame.folded.mean, abs=1e-6)
    assert slow["cloud"]["amplitude"] == pytest.approx(np.abs(VECTORS), abs=0.01)
    assert slow["cloud"]["lag"][1] == pytest.approx(math.degrees(-1.0) % 360, abs=1)
    assert slow["spectrum0"][1].max() == pytest.approx(2.0, abs=0.02)
    assert len(now_message(RUNNING, frame)) < 8000
    assert len(slow_message(frame)) < 12000


def test_messages_before_there_is_anything():
    now = unpack(now_message(OFF, None))
    assert (now["state"], now["age"], now["number"]) == ("off", None, 0)
    short = turned(seconds=0.05).frame()
    assert "cloud" not in unpack(slow_message(short))
    assert unpack(pack({"kind": "now"}, {})) == {"kind": "now", "arrays": []}


# The route, as a server runs it


class Browser:
    """One WebSocket to the route, without a network."""

    def __init__(self, application):
        self.sent, self.received = asyncio.Queue(), asyncio.Queue()
        scope = {
            "type": "websocket",
            "path": route.PATH,
            "headers": [],
            "query_string": b"",
            "subprotocols": [],
            "scheme": "ws",
        }
        self.sent.put_nowait({"type": "websocket.connect"})
        self.task = asyncio.ensure_future(application(scope, self.sent.get, self.received.put))

    async def next(self):
        return await asyncio.wait_for(self.received.get(), 10)

    async def read(self, kind="now"):
        while True:
            message = await self.next()
            assert message["type"] == "websocket.send", message
            header = unpack(message["bytes"])
            if header["kind"] == kind:
                return header

    async def leave(self):
        self.sent.put_nowait({"type": "websocket.disconnect", "code": 1001})
        await asyncio.wait_for(self.task, 10)


def application(bench):
    return Starlette(routes=[route.route(lambda: bench)])


def test_the_route_tells_what_is_new_and_else_that_it_lives(bench, monkeypatch):
    monkeypatch.setattr(route, "HEARTBEAT", 0.05)
    bench.now = RUNNING

    async def walk():
        served = application(bench)
        browser = Browser(served)
        assert (await browser.next())["type"] == "websocket.accept"
        assert (await browser.read("slow"))["cloud"]["count"] > 5
        first = await browser.read()
        assert (first["number"], first["state"]) == (1, "running")
        browser.sent.put_nowait({"type": "websocket.receive", "text": '{"stop": true}'})  # goes unread
        assert (await browser.read())["number"] == 1  # a heartbeat
        times, samples = 3 + np.arange(160) / 1600, np.zeros((3, 160))
        bench.scope.add(DecodedBlock(0, HELLO, times, samples, np.zeros(0), ()))
        while (await browser.read())["number"] != 2:
            pass
        bench.now = replace(RUNNING, state="lost", trouble="it went away.")
        while (lost := await browser.read())["state"] != "lost":
            pass
        assert lost["trouble"] == "it went away."
        await browser.leave()
        again = Browser(served)  # it works on after all had gone
        assert (await again.next())["type"] == "websocket.accept"
        assert (await again.read())["state"] == "lost"
        await again.leave()

    asyncio.run(walk())
    assert not any(told[0] == "stop" for told in bench.told)


def test_tabs_share_the_work_and_a_slow_one_holds_nobody_up(bench, monkeypatch):
    monkeypatch.setattr(route, "HEARTBEAT", 0.02)
    bench.now = RUNNING
    made = []
    view = bench.view
    bench.view = lambda: (made.append(1), view())[1]

    async def walk():
        served = application(bench)
        gate = asyncio.Event()

        async def held_up(scope, receive, send):
            async def blocked(message):
                await send(message)
                if message["type"] == "websocket.send":
                    await gate.wait()

            await served(scope, receive, blocked)

        quick, slow = Browser(served), Browser(held_up)
        await quick.next()
        counted = [len(made)]
        for _ in range(10):
            await quick.read()
        counted.append(len(made))
        assert counted[1] - counted[0] < 15  # not twice for two tabs
        gate.set()
        await quick.leave()
        slow.task.cancel()

    asyncio.run(walk())


def test_what_breaks_in_the_making_closes_the_connection(bench, caplog):
    def broken():
        raise RuntimeError("secret words")

    bench.view = broken

    async def walk():
        browser = Browser(application(bench))
        assert (await browser.next())["type"] == "websocket.accept"
        assert await browser.next() == {"type": "websocket.close", "code": 1011, "reason": ""}

    asyncio.run(walk())
    assert "the live picture could not be made" in caplog.text
