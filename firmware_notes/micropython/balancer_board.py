"""Balancer board in MicroPython: the binary form of "balancer stream 1". MIT licence.

For boards with hard pin interrupts and native USB. Accelerometer of the ADXL345 class on SPI; pins in `main`.
Marks are stamped in a pin interrupt, not by capture hardware, so they come some microseconds late and jitter;
whether a given board keeps up with a given rate was not measured (firmware_notes/README.md).
Keys: ? says the hello; 1 2 3 choose 800, 1600, 3200 samples a second.
"""

import json
import os
import struct
import sys
import time
from array import array

RATES = (800, 1600, 3200)
BLOCK = 16
FULL_SCALE = 4095
TICK_BITS = 30  # time.ticks_us() rolls over there
MARKS = 32  # marks that can wait; a power of two


class Line:
    """Packs records: CRC-16, COBS, sequence numbers."""

    def __init__(self, write):
        self.write = write
        self.sequence = 0
        self.table = array("H", (self._crc_of_high_byte(byte) for byte in range(256)))

    @staticmethod
    def _crc_of_high_byte(byte):
        crc = byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
        return crc

    def send(self, kind, payload):
        """Make a packet of a payload and write it."""
        body = kind + bytes((self.sequence,)) + payload
        self.sequence = (self.sequence + 1) & 0xFF  # counts what is made: what is lost leaves a gap
        crc, table = 0xFFFF, self.table
        for byte in body:
            crc = (crc << 8) & 0xFF00 ^ table[crc >> 8 ^ byte]
        body += struct.pack(">H", crc)
        packet = b"".join(bytes((len(part) + 1,)) + part for part in body.split(b"\0"))
        self.write(packet + b"\0")


class Board:
    """Sensor and pick-up on one clock; `poll` does what is due and never waits."""

    def __init__(self, spi, pins, line, clock, rate=1):
        self.spi, self.line, self.clock = spi, line, clock
        self.select, self.sensor_line, mark_line = pins
        # a random beginning instead of a counter: most of these boards have a true random source
        self.sid = int.from_bytes(os.urandom(3), "big")
        self.rate = rate
        self.mark_ticks = array("I", [0] * MARKS)
        self.mark_count = self.marks_sent = self.marks_lost = 0
        self.block_tick = self.block_ready = 0
        self.frame, self.answer, self.short = bytearray(7), bytearray(7), bytearray(2)
        self.frame[0] = 0xC0 | 0x32  # read, several bytes, from the first data register
        self.sensor_line.irq(self._on_block, self.sensor_line.IRQ_RISING, hard=True)
        mark_line.irq(self._on_mark, mark_line.IRQ_RISING, hard=True)
        self.second = clock()
        self.restart()

    def _on_block(self, _):  # an interrupt, as the next: no allocation, no waiting
        self.block_tick = self.clock()
        self.block_ready = 1

    def _on_mark(self, _):
        self.mark_ticks[self.mark_count % MARKS] = self.clock()
        self.mark_count += 1  # counted even when nobody fetches them in time: the gap shows

    def _register(self, address, value):
        self.select(0)
        self.spi.write_readinto(bytes((address, value)), self.short)
        self.select(1)
        return self.short[1]

    def _refill(self):
        self._register(0x38, 0)  # bypass: empties the FIFO
        self._register(0x38, 0x80 | BLOCK)
        self.block_ready = 0

    def restart(self):
        """Begin a segment: new counters, new sid, hello first."""
        self._register(0x2D, 0)
        self.sid += 1
        self.samples = self.overruns = self.trouble = self.seconds = 0
        self.mark_count = self.marks_sent = self.marks_lost = 0
        self.measured = False
        self.hello()
        for address, value in ((0x2C, 0x0D + self.rate), (0x31, 0x0B), (0x2F, 0), (0x2E, 2)):
            self._register(address, value)
        self._refill()
        self._register(0x2D, 8)

    def _lose(self):
        """Say that samples were lost, nobody knows how many, and begin with a fresh FIFO."""
        self.overruns += 1
        self.trouble |= 1
        self._refill()

    def _take_block(self):
        tick = self.block_tick
        if self._register(0x80 | 0x30, 0) & 1:
            self._lose()
            return
        data = bytearray()
        for _ in range(BLOCK):
            self.select(0)
            self.spi.write_readinto(self.frame, self.answer)
            self.select(1)
            data += self.answer[1:]
        self.block_ready = 0  # an edge while reading is the 16th sample of nothing
        if self.measured:  # the first block is left out, as in the C form, so that both count alike
            clipped = any(not -FULL_SCALE <= v < FULL_SCALE for v in struct.unpack("<48h", data))
            flags = self.trouble | (2 if clipped else 0)
            self.line.send(b"A", struct.pack("<IIBB", self.samples, tick, flags, BLOCK) + data)
            self.samples += BLOCK
            self.trouble = 0
        self.measured = True
        if self.sensor_line() and not self.block_ready:
            self._lose()

    def hello(self):
        """Say what all records mean, in packets of at most 200 bytes of it."""
        text = json.dumps({
            "board": sys.platform, "sensor": "ADXL345", "firmware": "mpy1", "sid": self.sid,
            "axes": ["x", "y", "z"], "unit": "m/s^2", "scale": 0.0383072, "full_scale": FULL_SCALE,
            "rate_hz": RATES[self.rate], "lowpass_hz": RATES[self.rate] // 2, "tick_hz": 1000000,
            "tick_bits": TICK_BITS, "stamp": "irq", "mark_stamp": "irq", "marks_per_rev": 1,
            "mark_edge": "rising", "check": "crc16",
        }).encode()  # fmt: skip
        for start in range(0, len(text), 200):
            self.line.send(b"H", text[start : start + 200])

    def _send_marks(self):
        if self.mark_count - self.marks_sent > MARKS:  # overwritten while nobody looked
            lost = self.mark_count - self.marks_sent - MARKS
            self.marks_lost += lost
            self.marks_sent += lost
        while self.marks_sent < self.mark_count:
            tick = self.mark_ticks[self.marks_sent % MARKS]
            self.line.send(b"M", struct.pack("<HI", self.marks_sent & 0xFFFF, tick))
            self.marks_sent += 1

    def _status(self):
        counters = (self.mark_count & 0xFFFF, self.overruns & 0xFFFF, 0, self.marks_lost & 0xFFFF)
        self.line.send(b"S", struct.pack("<IIHHHH", self.clock(), self.samples, *counters))
        self.seconds += 1
        if self.seconds % 5 == 0:
            self.hello()

    def obey(self, key):
        """Do what a key asks for; others are passed over."""
        if key == "?":
            self.hello()
        elif key in ("1", "2", "3"):
            self.rate = int(key) - 1
            self.restart()

    def poll(self):
        """Send what has come; call it as often as possible."""
        if self.block_ready:
            self._take_block()
        self._send_marks()
        if (self.clock() - self.second) & ((1 << TICK_BITS) - 1) >= 1000000:
            self.second = (self.second + 1000000) & ((1 << TICK_BITS) - 1)
            self._status()


def main():
    """Run on a board; choose the pins that yours has."""
    import select  # noqa: PLC0415

    from machine import SPI, Pin  # noqa: PLC0415

    spi = SPI(0, baudrate=4000000, polarity=1, phase=1, sck=Pin(18), mosi=Pin(19), miso=Pin(16))
    line = Line(sys.stdout.buffer.write)
    pins = Pin(17, Pin.OUT, value=1), Pin(20, Pin.IN), Pin(21, Pin.IN, Pin.PULL_UP)
    board = Board(spi, pins, line, time.ticks_us)
    keys = select.poll()
    keys.register(sys.stdin, select.POLLIN)
    while True:
        board.poll()
        if keys.poll(0):
            board.obey(sys.stdin.read(1))


if __name__ == "__main__":
    main()
