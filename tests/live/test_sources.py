"""Sources by name: what they give, how they end, and what they say when they cannot."""

import socket
import threading
from types import SimpleNamespace

import numpy as np
import pytest

from balancer.errors import InputError, OperationError
from balancer.live import ports as ports_module
from balancer.live.decoder import StreamDecoder
from balancer.live.ports import Port, device_of_board, ports
from balancer.live.replay import FileSource
from balancer.live.serial_source import SerialSource
from balancer.live.source import AnsweringSource
from balancer.live.sources import SourceOptions, open_source
from balancer.recording.files import read, read_bytes
from balancer.simulator.live_source import SimulatedSource
from balancer.simulator.presets import coastal_propeller
from balancer.wording import port_lines
from tests.packets import Board, run

NONE = {}


def read_all(source, most=2000):
    pieces = []
    for _ in range(most):
        pieces.append(source.read())
        if source.state != "open":
            break
    return b"".join(pieces)


class Clock:
    """A clock that moves on when somebody sleeps."""

    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now

    def sleep(self, seconds):
        self.now += seconds


def test_a_file_replayed_at_once_is_the_file(fast_file):
    with open_source(f"file:{fast_file}", SourceOptions(replay_speed=float("inf")), NONE) as source:
        assert read_all(source) == fast_file.read_bytes()
        assert source.state == "ended"


@pytest.mark.parametrize("speed", [1.0, 4.0])
def test_a_file_replayed_keeps_the_pace_of_its_own_clock(text_file, speed):
    clock, lag = Clock(), []
    source = FileSource(str(text_file), speed=speed, now=clock, sleep=clock.sleep)
    decoder = StreamDecoder()
    while source.state == "open":
        for block in decoder.feed(source.read()):
            if block.times.size and block.times[-1] > 0.5:
                lag.append(block.times[-1] - (clock.now - 100.0) * speed)
    assert np.abs(lag).max() < 0.05 * speed
    assert clock.now - 100 == pytest.approx(3.0 / speed, abs=0.1)


def test_a_foreign_file_becomes_a_stream(tmp_path):
    path = tmp_path / "logger.csv"
    lines = [f"{k / 1000},{np.sin(k / 5):.4f},{int(k % 20 == 0)}" for k in range(2000)]
    path.write_text("time_s,x_m/s^2,mark\n" + "\n".join(lines) + "\n")
    with FileSource(str(path), speed=float("inf")) as source:
        got = read_bytes(read_all(source), "replayed.stream")
    wanted = read(path)
    assert got.samples == pytest.approx(wanted.samples, abs=1e-4)
    assert got.marks.size == wanted.marks.size


@pytest.mark.parametrize("form", ["fast_file", "text_file"])
def test_a_board_on_a_port_is_found_by_listening(plug_in, request, form):
    path = request.getfixturevalue(form)
    board = plug_in(path, 40_000, 1.5)
    with open_source(f"serial:{board.link}", SourceOptions(), NONE) as source:
        decoder, got, silent = StreamDecoder(), 0, 0
        while silent < 20:
            data = source.read()
            silent = 0 if data else silent + 1
            got += len(data)
            decoder.feed(data)
        assert source.baud == 500_000
        assert board.sent() == (got, 0)
        board.unplug()
        assert read_all(source) == b""
        assert source.state == "lost"
        assert "was lost" in source.trouble
    assert decoder.totals.damaged == 0
    assert decoder.totals.gaps == decoder.counted["gaps_index"] <= 5  # those that the simulated sensor has


def test_a_port_where_nothing_is_understood_is_given_up(plug_in, tmp_path):
    noise = tmp_path / "noise"
    noise.write_bytes(bytes(np.random.default_rng(1).integers(0, 256, 4096, dtype=np.uint8)))
    board = plug_in(noise, 5000, 20)
    with pytest.raises(OperationError, match="no stream of this kind, at any of the usual speeds"):
        SerialSource(str(board.link), patience=0.0)


def test_a_port_can_be_used_by_one_program_only(plug_in, fast_file):
    board = plug_in(fast_file, 24_000, 5)
    with SerialSource(str(board.link)), pytest.raises(OperationError, match="another program uses this port"):
        SerialSource(str(board.link))


def test_what_pyserial_offers_beside_ports_works_too():
    with open_source("serial:loop://", SourceOptions(), NONE) as source:
        source.read()
        source.command(b"hello")
        assert source.read() == b"hello"
    source.command(b"gone")
    assert source.read() == b""
    assert source.state == "closed"


@pytest.mark.parametrize("name", ["socket://127.0.0.1:{}", "serial:socket://127.0.0.1:{}"])
def test_a_board_in_the_network_loses_nothing_at_its_end(name):
    data = run(Board().say_hello(), 400).data
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer():
            connection, _ = server.accept()
            with connection:
                assert connection.recv(10) == b"?"
                connection.sendall(data)

        far = threading.Thread(target=answer)
        far.start()
        with open_source(name.format(server.getsockname()[1]), SourceOptions(), NONE) as source:
            got = read_all(source)
            assert source.state == "lost"
            assert "the far end closed it" in source.trouble
        far.join()
    assert got == data


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("file:nowhere.stream", "nowhere.stream: the file cannot be read"),
        ("serial:/dev/nowhere", "there is no such port; see balancer ports"),
        ("nowhere", "there is no such port"),
        ("socket://nobody", "write socket://HOST:PORT"),
        ("board:1234", "no board with the serial number 1234 is plugged in"),
    ],
)
def test_names_that_lead_nowhere_are_refused_in_a_sentence(name, match):
    with pytest.raises(InputError, match=match):
        open_source(name, SourceOptions(), NONE)


def test_a_file_given_as_a_port_says_how_to_replay_it(text_file):
    with pytest.raises(InputError, match="write file:"):
        open_source(str(text_file), SourceOptions(), NONE)


def test_nobody_answers_at_an_address():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(OperationError, match="nobody answers there"):
        open_source(f"socket://127.0.0.1:{port}", SourceOptions(), NONE)


@pytest.fixture
def plugged(monkeypatch):
    def plug(*rows):
        infos = [
            SimpleNamespace(device=d, description=about, vid=vid, pid=0x43, serial_number=number)
            for d, about, vid, number in rows
        ]
        monkeypatch.setattr(ports_module.list_ports, "comports", lambda: infos)

    return plug


def test_ports_on_usb_come_first_and_boards_are_known_by_their_number(plugged):
    plugged(
        ("/dev/ttyS0", "n/a", None, None),
        ("/dev/ttyACM1", "a board", 0x1234, "A7"),
        ("/dev/ttyACM0", "b", 1, None),
    )
    found = ports()
    assert [port.source for port in found] == ["serial:/dev/ttyACM0", "board:A7", "serial:/dev/ttyS0"]
    assert device_of_board("A7") == "/dev/ttyACM1"
    text = "\n".join(port_lines(found))
    assert "pull the board's plug" in text
    assert "not on USB" in text


def test_two_boards_with_one_number_are_not_guessed_between(plugged):
    plugged(("/dev/ttyUSB0", "", 1, "0001"), ("/dev/ttyUSB1", "", 1, "0001"))
    with pytest.raises(InputError, match="/dev/ttyUSB0 and /dev/ttyUSB1 have the same serial number"):
        device_of_board("0001")


def test_hints_for_one_board_and_for_none():
    assert "the only one on USB" in port_lines([Port("/dev/ttyACM0", "", "1:2")])[2]
    assert "plug the board in" in port_lines([])[0]


def test_a_command_is_answered_with_the_bytes_that_came_before_it_could_show():
    answers = []
    source = SimulatedSource(coastal_propeller(1), speed=540.0, pace=float("inf"))
    answering = AnsweringSource(source, lambda *answer: answers.append(answer))
    first = answering.read()
    assert answers == []
    answering.command(b'{"speed_rpm": 6000}')
    answering.command(b'{"masses": []}')
    second = answering.read()
    answering.read()
    assert answers == [(2, len(first))]
    assert second
    with pytest.raises(InputError, match="does not understand"):
        answering.command(b"nonsense")
    source.close()
    answering.read()
    assert answering.state == "closed"
    assert len(answers) == 1
