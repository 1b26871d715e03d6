"""Runs in MicroPython: the board's program on a virtual sensor, pick-up and clock.

Plays back the samples and marks of a scenario file; time goes on with every transfer and every turn of the
loop. Arguments: the scenario, the folder of the board's program, the file to write.
"""

import json
import sys


class VirtualPin:
    IRQ_RISING = 1

    def __init__(self):
        self.level = 0
        self.handler = None

    def irq(self, handler, _edge, hard):
        assert hard
        self.handler = handler

    def __call__(self, level=None):
        if level is None:
            return self.level
        rises, self.level = level > self.level, level
        if rises and self.handler:
            self.handler(self)
        return None


class VirtualSensor:
    """The FIFO of the sensor, its watermark line, and the clock of everything."""

    def __init__(self, scenario):
        self.now = 0.0
        self.first, self.period = scenario["first"], scenario["period"]
        self.samples = scenario["samples"]
        self.marks = scenario["marks"]
        self.made = self.marked = 0
        self.fifo, self.registers = [], {0x38: 0, 0x2D: 0}
        self.line, self.mark = VirtualPin(), VirtualPin()
        self.lost = self.overran = self.popped = 0

    def clock(self):
        return int(self.now) & 0x3FFFFFFF

    def wait(self, until):
        """Let time pass, and what happens in it happen in order."""
        while True:
            sample = self.first + self.made * self.period
            mark = self.marks[self.marked] if self.marked < len(self.marks) else 1e12
            event = min(sample if self.made < len(self.samples) else 1e12, mark)
            if event > until:
                break
            self.now = event
            if mark <= sample:
                self.marked += 1
                self.mark(1)
                self.mark(0)
            else:
                self.sample()
        self.now = until

    def sample(self):
        value = self.samples[self.made]
        self.made += 1
        if self.registers[0x2D] & 8 and self.registers[0x38] >> 6 == 2:
            if len(self.fifo) == 32:
                self.fifo.pop(0)
                self.overran = 1
                self.lost += 1
            self.fifo.append(value)
            self.line(int(len(self.fifo) >= self.registers[0x38] & 31))

    def write_readinto(self, out, into):
        self.wait(self.now + 2.0 * len(out))
        address = out[0] & 0x3F
        if out[0] & 0x80 and address == 0x32:
            row = self.fifo.pop(0)
            for axis in range(3):
                into[1 + 2 * axis] = row[axis] & 0xFF
                into[2 + 2 * axis] = row[axis] >> 8 & 0xFF
            self.overran = 0
        elif out[0] & 0x80:
            into[1] = self.overran
        else:
            self.registers[address] = out[1]
            if address == 0x38 and out[1] == 0:
                self.fifo = []
                self.overran = 0
        self.line(int(self.registers[0x38] >> 6 == 2 and len(self.fifo) >= self.registers[0x38] & 31))


def main(scenario_file, program_folder, out_file):
    sys.path.append(program_folder)
    from balancer_board import Board, Line  # noqa: PLC0415

    with open(scenario_file) as handle:
        scenario = json.load(handle)
    sensor = VirtualSensor(scenario)
    with open(out_file, "wb") as out:
        pins = VirtualPin(), sensor.line, sensor.mark
        board = Board(sensor, pins, Line(out.write), sensor.clock, rate=2)
        while sensor.made < len(sensor.samples):
            sensor.wait(sensor.now + scenario["turn"])
            board.poll()
    print(json.dumps({"lost": sensor.lost}))


if __name__ == "__main__":
    main(*sys.argv[1:])
