"""The binary form against packets framed by hand: what is read must be what was sent."""

import binascii

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from balancer.errors import InputError
from balancer.recording import stream_binary
from balancer.recording.files import read, read_bytes, write
from balancer.recording.packets import make_packet, open_packet, parse_packets
from tests.firmware.decode import unstuff
from tests.packets import Board, packet, row, run


def read_board(board, name="test.stream"):
    return read_bytes(board.data, name)


def codes(recording):
    return {finding.code for finding in recording.findings}


@given(st.binary(min_size=1, max_size=1), st.integers(0, 255), st.binary(max_size=249))
def test_packets_are_framed_as_the_paper_says(kind, seq, payload):
    made = make_packet(kind, seq, payload)
    body = kind + bytes([seq]) + payload
    check = binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "big")
    assert made.count(0) == 1
    assert unstuff(made[:-1]) == body + check  # the plain decoder that the firmware is tested with
    assert open_packet(made[:-1]) == body
    assert len(made) == len(body) + 4


@given(st.binary(max_size=260))
def test_bytes_that_are_no_packet_never_raise(data):
    assert open_packet(data) is None or binascii.crc_hqx(unstuff(data), 0xFFFF) == 0


@given(st.binary(min_size=4, max_size=200), st.data())
def test_a_flipped_bit_is_seen(payload, data):
    sound = packet("A", 3, payload)[:-1]
    place = data.draw(st.integers(0, 8 * len(sound) - 1))
    damaged = bytearray(sound)
    damaged[place // 8] ^= 1 << place % 8
    # the CRC finds every flipped bit, unless it changes where zeros stand: then all but 1 in 65536
    assert open_packet(bytes(damaged)) is None


def test_samples_marks_and_status_are_what_was_sent():
    board = run(Board().say_hello(), 20, mark_every=4).status(330_000, 320, 5).send("E", b"all well")
    recording = read_board(board)
    assert recording.times == pytest.approx(np.arange(320) / 1000, abs=1e-9)
    assert recording.samples.T.tolist() == [[0.5 * value for value in row(n)] for n in range(320)]
    # sample 0 is at tick 5000, mark k behind the last sample of block 4 k + 3
    expected = [(16 * (4 * k + 4) - 1) / 1000 + 7e-6 for k in range(5)]
    assert recording.marks == pytest.approx(expected, abs=1e-9)
    assert recording.gaps == ()
    assert codes(recording) == {"device_message"}


@pytest.mark.parametrize("error", [-0.03, 0.03])
def test_a_sensor_that_runs_at_another_rate_is_believed_by_its_stamps(error):
    # only the last sample of a block is stamped; the nominal rate would shift the others by up to 0.5 ms
    period = 1000 * (1 + error)
    recording = read_board(run(Board().say_hello(), 200, period=period))
    assert recording.times == pytest.approx(np.arange(3200) * period / 1e6, abs=1e-6)


def test_the_first_block_is_placed_by_the_line_through_all_stamps():
    rng = np.random.default_rng(2)
    board = Board().say_hello()
    for block in range(400):
        last = 5000 + 1030 * (16 * block + 15) + int(rng.normal(0, 20))
        board.samples(16 * block, last, [row(n) for n in range(16 * block, 16 * block + 16)])
    recording = read_board(board)
    error = recording.times - np.arange(6400) * 1030e-6
    # 20 us of jitter, averaged over 400 stamps on 2 lines
    assert np.std(error) < 4e-6
    assert np.ptp(np.diff(recording.times)) < 1e-6


def test_a_lost_packet_is_a_gap():
    recording = read_board(run(Board().say_hello(), 60, skip=[20, 21]))
    (gap,) = recording.gaps
    assert (gap.lost, gap.reason) == (32, "index")
    assert recording.times[320] - recording.times[319] == pytest.approx(0.033, abs=1e-6)
    assert {"samples_lost", "packets_missing"} == codes(recording)


def test_a_lost_mark_packet_is_seen_by_the_sequence_numbers_alone():
    board = run(Board().say_hello(), 30)
    board.seq += 1
    run(board, 30, first=480)
    recording = read_board(board)
    (gap,) = recording.gaps
    assert (gap.lost, gap.reason) == (0, "packet")
    assert gap.start == pytest.approx(0.479, abs=1e-6)


def test_the_overrun_flag_is_a_gap_even_when_nothing_else_shows_it():
    board = run(Board().say_hello(), 30)
    board.samples(480, 5000 + 1000 * 495, [row(n) for n in range(480, 496)], flags=1)
    recording = read_board(run(board, 30, first=496))
    (gap,) = recording.gaps
    assert (gap.lost, gap.reason) == (-1, "overrun")
    assert gap.start == pytest.approx(0.479, abs=1e-6)
    assert "sensor_overruns" in codes(recording)


def test_time_against_index_shows_a_silent_loss():
    board = run(Board().say_hello(), 100)
    recording = read_board(run(board, 100, first=1600, start=5000 + 5000))
    (gap,) = recording.gaps
    assert (gap.lost, gap.reason) == (5, "silent")
    assert recording.times[1599] == pytest.approx(1.599, abs=1e-6)
    assert recording.times[1600] == pytest.approx(1.605, abs=1e-6)


def test_status_counters_are_a_sign_of_their_own_and_roll_over():
    board = run(Board().say_hello(), 10, first=10_000).status(0, 0, 0, 65_534)
    run(board, 10, first=10_160).status(0, 0, 0, 3)
    recording = read_board(run(board, 10, first=10_320))
    assert [(gap.lost, gap.reason) for gap in recording.gaps] == [(-1, "status")]
    assert dict(next(f for f in recording.findings if f.code == "sensor_overruns").figures) == {"count": 5}


def test_index_and_clock_roll_over():
    board = Board().say_hello()
    first, start = 2**32 - 800, 2**32 - 1_000_000
    for block in range(100):
        n0 = 16 * block
        board.samples(first + n0, start + 1000 * (n0 + 15), [row(n) for n in range(n0, n0 + 16)])
    recording = read_board(board)
    assert recording.times == pytest.approx(np.arange(1600) / 1000, abs=1e-9)
    assert recording.gaps == ()


def test_a_restart_is_never_joined_up():
    board = run(Board().say_hello(), 30, mark_every=5)
    again = run(Board(sid=18).say_hello(), 30, start=90, mark_every=5)
    recording = read_bytes(board.data + again.data, "two.stream")
    assert recording.segment_starts == (480,)
    assert codes(recording) == {"device_restarted"}


def test_longer_payloads_and_unknown_types_are_passed_over():
    board = run(Board().say_hello(), 2)
    board.send("A", bytes.fromhex("20000000 00000000 00 01 0100 0200 0300") + b"more to come")
    board.send("Z", b"from the future").send("M", bytes([0, 0, 1, 0, 0, 0]) + b"more")
    recording = read_board(board)
    assert recording.samples[:, -1].tolist() == [0.5, 1.0, 1.5]
    assert "records_unknown" in codes(recording)


def test_a_payload_that_is_too_short_is_damaged():
    block = parse_packets([b"A\x00" + bytes(9), b"M\x01" + bytes(5), b"S\x02" + bytes(15)], 3)
    assert block.damaged.tolist() == [0, 1, 2]


def test_damage_costs_the_packet_and_is_counted():
    board = run(Board().say_hello(), 50)
    board.sent[10] = board.sent[10][:20] + b"\x55" + board.sent[10][21:]
    recording = read_bytes(b"boot noise\0" + board.data[:-3], "x.stream")
    assert recording.samples.shape[1] == 16 * 48
    assert {"packets_damaged", "last_packet_cut", "samples_lost"} <= codes(recording)


def test_a_hello_that_comes_late_speaks_for_what_came_before():
    late = run(Board(), 20)
    late.say_hello()
    assert read_board(late).samples.shape == (3, 320)


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (run(Board(), 5).data, "the hello that says what the numbers mean is missing"),
        (Board().say_hello().data, "fewer than two samples can be read"),
        (Board(scale=...).say_hello().data, "x.stream: the header lacks scale"),
    ],
    ids=["no hello", "no samples", "no scale"],
)
def test_bad_files_are_refused_in_a_sentence(data, match):
    with pytest.raises(InputError, match=match):
        stream_binary.read(data, "x.stream")


def test_the_writer_gives_back_what_was_read(tmp_path):
    recording = read_board(run(Board().say_hello(), 200, mark_every=5, skip=[30]))
    write(recording, tmp_path / "again.stream")
    again = read(tmp_path / "again.stream")
    assert np.array_equal(again.samples, recording.samples)
    assert again.times == pytest.approx(recording.times, abs=1e-6)
    assert again.marks == pytest.approx(recording.marks, abs=2e-6)
    assert [(gap.lost, gap.reason) for gap in again.gaps] == [(16, "index")]
