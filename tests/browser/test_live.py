"""Walks through the live page: the simulated bench, a board that goes away, a server that is started anew."""

from __future__ import annotations

import re
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from balancer import launch
from balancer.recording.files import write
from balancer.simulator.presets import COASTAL_SPEED, coastal_propeller
from balancer.units import G_STANDARD
from tests.app_server import BALANCER_APP, running
from tests.browser.walk import click, go, heading, job

pytestmark = pytest.mark.browser

MOVES = """canvas => new Promise(done => {
    const began = +canvas.dataset.frames, pictures = new Set(), end = performance.now() + 20000;
    (function look() {
        const pixels = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
        pictures.add(pixels.reduce((sum, byte) => (sum * 31 + byte) >>> 0, 7));
        const frames = +canvas.dataset.frames - began;
        if ((frames >= 5 && pictures.size >= 3) || performance.now() > end) done([frames, pictures.size]);
        else setTimeout(look, 50);
    })();
})"""
"""How many frames were drawn, and how many pictures that differ were seen; ends early with 5 and 3."""


def live(page):
    """Go to the live page as a person does."""
    go(page, "Live")
    page.get_by_role("heading", name="Live", exact=True).wait_for()
    button(page, "Start").or_(button(page, "Stop")).first.wait_for()
    if button(page, "Stop").count():  # a walk before it came to no end
        press(page, "Stop", then="Start")


def button(page, name):
    """A button of the page itself: Streamlit has a Stop of its own at the top while a script runs."""
    return page.get_by_test_id("stMain").get_by_role("button", name=name, exact=True)


def press(page, name, then):
    """Click a button, and wait for the one that follows; the script of this page never rests for long."""
    button(page, name).click()
    button(page, then).wait_for()


def figure(page, name, pattern):
    """Wait until a figure reads so, and give it."""
    box = page.locator(f"[data-figure={name}] .value").filter(has_text=re.compile(pattern))
    box.wait_for(timeout=20_000)
    return box.inner_text()


def test_the_simulated_bench_turns(open_page, tmp_path, judge):
    """The picture moves; how often a second is measured on a machine that does nothing else, not here."""
    page = open_page()
    live(page)
    press(page, "Start", then="Stop")
    speed = int(figure(page, "speed", r"^[\d,]+$").replace(",", ""))
    assert speed == pytest.approx(5200, rel=0.02)
    amplitude = float(figure(page, "amplitude", r"^\d"))
    button(page, "Units").click()
    page.get_by_role("radio", name=re.compile("^g ")).click()
    in_g = float(figure(page, "amplitude", r"^0\.\d"))
    assert in_g == pytest.approx(amplitude / G_STANDARD, rel=0.1)  # the speed wanders a little meanwhile
    page.get_by_text("1x amplitude, g", exact=True).wait_for()
    page.keyboard.press("Escape")
    phase = int(figure(page, "phase", r"^\d+°$")[:-1])
    canvas = page.locator("[data-picture=polar] canvas")
    frames, pictures = canvas.evaluate(MOVES)
    assert frames >= 5
    assert pictures >= 3
    judge(page)
    other = open_page(390, 844, address="live")
    off = (int(figure(other, "phase", r"^\d+°$")[:-1]) - phase + 180) % 360 - 180
    assert abs(off) < 20  # the same rotor
    assert other.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth - innerWidth") <= 0
    thumb = page.get_by_role("slider")
    thumb.focus()
    thumb.press("Home")
    figure(other, "speed", r"^1,[45]\d\d$")
    assert page.get_by_role("img", name=re.compile("Spectrum of . over .* at order")).count() == 1
    page.screenshot(path=tmp_path / "live.png")
    press(other, "Stop", then="Start")
    button(page, "Start").wait_for()  # the other tab sees it, too
    figure(page, "speed", "no data")
    with page.expect_download() as coming:
        page.get_by_role("button", name="Download the recording").click()
    assert Path(coming.value.path()).stat().st_size > 10_000


@pytest.fixture(scope="module")
def stream(tmp_path_factory):
    """Half a minute of an invented propeller, as a board sends it."""
    file = tmp_path_factory.mktemp("board") / "board.stream"
    write(coastal_propeller(1).record(speed=COASTAL_SPEED, duration=30.0, seed=1), file)
    return file


@contextmanager
def board(stream, port):
    """Run the board; at the end its plug is pulled."""
    command = [sys.executable, str(Path(__file__).with_name("board.py")), str(stream), str(port), "30"]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        try:
            yield int(process.stdout.readline())
        finally:
            process.kill()


def test_a_board_goes_away_and_comes_back(open_page, stream):
    page = open_page(scheme="dark")
    live(page)
    page.get_by_role("radio", name="Network address", exact=True).click()
    box = page.get_by_label("Address and port of the board")
    with board(stream, 0) as port:
        box.fill(f"127.0.0.1:{port}")
        box.press("Enter")
        press(page, "Start", then="Stop")
        figure(page, "speed", r"^5,[12]\d\d$")
    page.get_by_role("button", name="Pick it up again").wait_for()
    page.get_by_test_id("stAlert").filter(has_text=re.compile("127.0.0.1")).first.wait_for()
    figure(page, "speed", "no data")
    with board(stream, port):
        press(page, "Pick it up again", then="Stop")
        figure(page, "speed", r"^5,[12]\d\d$")
        press(page, "Stop", then="Start")


def test_the_plain_picture_serves_where_the_live_one_cannot_be_had(open_page):
    page = open_page()
    page.route_web_socket("**/bench/live", lambda socket: socket.close())
    live(page)
    page.set_viewport_size({"width": 390, "height": 844})
    press(page, "Start", then="Stop")
    page.locator(".told", has_text="choose “Plain picture” above").wait_for()
    page.get_by_role("radio", name="Plain picture", exact=True).click()
    for name in ("1x on", "Spectrum of", "over one turn"):
        page.get_by_role("img", name=re.compile(name)).wait_for()
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth - innerWidth") <= 0
    press(page, "Stop", then="Start")


def test_a_server_started_anew_is_found_and_lost_nothing(context, tmp_path):
    port = launch.free_port(None)
    command = (*BALANCER_APP, "--port", str(port))
    at_job, page = context.new_page(), context.new_page()
    with running(tmp_path, command) as server:
        at_job.goto(server.url)
        job(at_job, "Balance the bare bell first")
        address = at_job.url
        page.goto(f"{server.url}/live")
        press(page, "Start", then="Stop")
        figure(page, "speed", r"^5,[12]\d\d$")
    page.locator(".told", has_text="Connection lost").wait_for()
    figure(page, "speed", "no data")
    with running(tmp_path, command):
        # the page itself comes back, too; what was recorded is on the disk
        page.locator(".live[data-connected=yes]").or_(
            page.get_by_role("button", name="Start")
        ).first.wait_for()
        press(page, "Start", then="Stop")
        figure(page, "speed", r"^5,[12]\d\d$")
        at_job.goto(address)
        heading(at_job, "Balance the bare bell first")
        click(at_job, "bell", then="Check the sensor at rest")
        page.close()
        at_job.close()
