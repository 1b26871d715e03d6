"""WAV files, written by the standard library (PCM) or scipy (float) and read back."""

import io
import wave

import numpy as np
import pytest
from scipy.io import wavfile

from balancer.errors import InputError
from balancer.procedure.measure import measure
from balancer.recording.files import read_bytes
from balancer.recording.hints import Hints
from balancer.recording.wav import scale_of_calibration
from tests.foreign import LAG, ONCE_HZ

RATE, FULL_SCALE, AMPLITUDE = 8000, 50.0, 20.0
TIMES = np.arange(4 * RATE) / RATE
TURNS = ONCE_HZ * TIMES
SENSOR = AMPLITUDE / FULL_SCALE * np.cos(2 * np.pi * TURNS - LAG)
PULSE = np.where(np.mod(TURNS, 1) < 0.05, 0.7, -0.05)
SAID = Hints(wav_scale=FULL_SCALE, mark_channel=2)


def pcm(levels, width):
    """Levels of shape (channels, n) within -1 to 1 as little-endian integers of `width` bytes."""
    whole = np.round(np.clip(levels.T, -1, 1) * (2 ** (8 * width - 1) - 1)).astype("<i4", order="C")
    if width == 1:
        frames = (whole + 128).astype(np.uint8).tobytes()
    else:
        frames = whole.view(np.uint8).reshape(*whole.shape, 4)[..., :width].tobytes()
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(levels.shape[0])
        file.setsampwidth(width)
        file.setframerate(RATE)
        file.writeframes(frames)
    return out.getvalue()


def floats(levels, kind):
    out = io.BytesIO()
    wavfile.write(out, RATE, levels.T.astype(kind))
    return out.getvalue()


FORMS = {
    "8 bit": (lambda levels: pcm(levels, 1), 0.02),
    "16 bit": (lambda levels: pcm(levels, 2), 1e-4),
    "24 bit": (lambda levels: pcm(levels, 3), 1e-5),
    "32 bit": (lambda levels: pcm(levels, 4), 1e-5),
    "float": (lambda levels: floats(levels, np.float32), 1e-5),
    "double": (lambda levels: floats(levels, np.float64), 1e-5),
}


@pytest.mark.parametrize(("make", "error"), FORMS.values(), ids=FORMS.keys())
def test_sensor_and_mark_pulse(make, error):
    recording = read_bytes(make(np.array([SENSOR, PULSE])), "a.wav", SAID)
    assert [channel.name for channel in recording.channels] == ["x"]
    assert recording.samples[0] == pytest.approx(FULL_SCALE * SENSOR, abs=FULL_SCALE * max(error, 1e-4))
    assert recording.understood.rate == RATE
    assert recording.understood.columns[1] == ("channel 2", "mark")
    (channel,) = measure(recording).channels
    # the writer's largest number is one short of full scale: 0.8 % with 8 bits
    assert channel.once.amplitude == pytest.approx(AMPLITUDE, rel=max(2e-3, error))
    # the pulse rises within the sample step before the first sample that is up
    assert abs(np.angle(channel.once.value * np.exp(-1j * LAG))) < 2 * np.pi * ONCE_HZ / RATE


def test_names_of_the_form():
    for name, (make, _) in FORMS.items():
        form = read_bytes(make(np.array([SENSOR, PULSE])), "a.wav", SAID).understood.form
        assert ("float" in form) == (name in {"float", "double"})
        assert {"16 bit": "16", "24 bit": "24", "32 bit": "32"}.get(name, "") in form


def test_a_single_channel_has_no_mark():
    recording = read_bytes(pcm(SENSOR[np.newaxis], 2), "a.wav", Hints(wav_scale=FULL_SCALE))
    assert recording.marks is None
    assert measure(recording).channels[0].amplitude.value == pytest.approx(AMPLITUDE, rel=0.01)


def test_a_flat_mark_channel_is_told():
    recording = read_bytes(pcm(np.array([SENSOR, 0 * PULSE]), 2), "a.wav", SAID)
    assert recording.marks is None
    assert recording.findings[0].code == "mark_column_flat"


STEREO = pcm(np.array([SENSOR, PULSE]), 2)
REFUSED = {
    "no scale": (STEREO, Hints(mark_channel=2), "how many m/s\\^2 its full scale is; give --wav-scale"),
    "no mark channel": (
        STEREO,
        Hints(wav_scale=1.0),
        "2 channels, .* which holds the mark; give --mark-channel",
    ),
    "no such channel": (STEREO, Hints(wav_scale=1.0, mark_channel=3), "channel 3 cannot be the mark"),
    "only channel": (pcm(SENSOR[np.newaxis], 2), Hints(wav_scale=1.0, mark_channel=1), "channel 1 cannot be"),
    "damaged": (STEREO[:30], SAID, "cannot be read"),
    "next to nothing": (pcm(np.array([SENSOR, PULSE])[:, :20], 2), SAID, "next to no sound"),
}


@pytest.mark.parametrize(("data", "hints", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_refusals(data, hints, words):
    with pytest.raises(InputError, match=f"^a.wav: .*{words}"):
        read_bytes(data, "a.wav", hints)


def test_scale_from_a_calibrator():
    """A hand-held calibrator gives 10 m/s^2 rms at 1000 rad/s, 159.155 Hz (common practice, no source)."""
    tone = 10 * np.sqrt(2) / FULL_SCALE * np.cos(1000 * TIMES)
    assert scale_of_calibration(pcm(tone[np.newaxis], 2), "c.wav", 10.0) == pytest.approx(
        FULL_SCALE, rel=2e-3
    )


def test_an_overdriven_calibration_is_refused():
    tone = np.clip(1.5 * np.cos(1000 * TIMES), -1, 1)
    with pytest.raises(InputError, match=r"c\.wav: the calibration is overdriven"):
        scale_of_calibration(pcm(tone[np.newaxis], 2), "c.wav", 10.0)


def test_a_calibration_without_a_tone_is_refused():
    hiss = 0.1 * np.random.default_rng(1).standard_normal(TIMES.size)
    with pytest.raises(InputError, match=r"c\.wav: no line stands out"):
        scale_of_calibration(pcm(hiss[np.newaxis], 2), "c.wav", 10.0)
