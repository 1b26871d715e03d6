"""Builds the emulator bench once a session, or skips with the reason."""

import shutil

import pytest

from tests.firmware.emulated import HEADERS, Bench


@pytest.fixture(scope="session")
def bench(tmp_path_factory):
    missing = [tool for tool in ("avr-gcc", "avr-g++", "avr-size", "gcc") if shutil.which(tool) is None]
    if not (HEADERS / "sim_avr.h").exists():
        missing.append("the headers of libsimavr")
    if missing:
        pytest.skip(
            f"the firmware was NOT tested: {', '.join(missing)} not found "
            "(Debian: apt-get install gcc gcc-avr avr-libc libsimavr-dev)"
        )
    made = Bench(tmp_path_factory.mktemp("firmware"))
    made.build()
    return made
