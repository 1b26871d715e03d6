"""The door: formats told by content, and nothing overwritten in silence."""

import os
import stat

import numpy as np
import pytest

from balancer.errors import InputError, OperationError
from balancer.recording.files import read, read_bytes, write
from balancer.recording.model import Channel, Recording
from tests.streams import samples, stream

TABLE = b"time_s,x_g\n0,1\n0.001,2\n0.002,1\n"


@pytest.fixture
def recording():
    return Recording(np.arange(100) / 1000, np.ones((1, 100)), (Channel("x", "m/s^2"),))


def test_the_content_tells_the_format_whatever_the_name():
    assert read_bytes(stream(samples(30)), "misnamed.txt").sensor.check == "crc16"
    assert read_bytes(TABLE, "misnamed.stream.csv").times.size == 3
    assert read_bytes(TABLE, "no suffix").times.size == 3


def test_path_and_text_name_the_same_file(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(TABLE)
    assert read(path).digest == read(str(path)).digest
    assert read(path).source == str(path)


def test_nothing_is_overwritten_in_silence(tmp_path, recording):
    path = tmp_path / "run.stream.csv"
    write(recording, path)
    before = path.read_bytes()
    with pytest.raises(OperationError, match=r"run\.stream\.csv: there is a file of this name already; "):
        write(recording, path)
    assert path.read_bytes() == before
    write(recording, path, overwrite=True, check="xor")
    assert read(path).sensor.check == "xor"
    assert os.listdir(tmp_path) == ["run.stream.csv"]


def test_a_file_that_does_not_fit_leaves_the_old_one(tmp_path):
    path = tmp_path / "run.stream.csv"
    path.write_bytes(b"old")
    other = Recording(np.arange(100) / 1000, np.ones((1, 100)), (Channel("x", "mm/s"),))
    with pytest.raises(InputError, match="only accelerations"):
        write(other, path, overwrite=True)
    assert path.read_bytes() == b"old"


def test_a_folder_that_is_not_there(tmp_path, recording):
    with pytest.raises(OperationError, match="the file cannot be written"):
        write(recording, tmp_path / "none" / "run.stream.csv")


@pytest.mark.skipif(
    os.name == "nt" or os.geteuid() == 0, reason="a file that its reader may not read is needed"
)
def test_a_file_that_may_not_be_read(tmp_path):
    path = tmp_path / "locked.csv"
    path.write_bytes(TABLE)
    path.chmod(stat.S_IWUSR)
    with pytest.raises(InputError, match="the file cannot be read"):
        read(path)
