"""Recordings read from files: formats against the library that writes them, resampling against a sine worked out, and
every kind of bad file with its sentence."""

import io
import struct
import tracemalloc

import numpy as np
import pytest
import soundfile

from piezolab.audio import RATE, AudioError
from piezolab.audio.slices import Slices
from piezolab.audio.sound_file import MB, MOST_BYTES_IN_A_ROOM, decoding, read_recording


def tone(seconds=2.0, rate=RATE, hz=440.0, level=0.5, channels=1):
    one = level * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate)
    return one if channels == 1 else np.stack([one] + [0.001 * one] * (channels - 1), axis=1)


def file_of(samples, rate=RATE, kind="WAV", subtype=None) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, samples, rate, format=kind, subtype=subtype)
    return out.getvalue()


def sliced(data: bytes, size=100_000) -> Slices:
    return Slices(*(data[n : n + size] for n in range(0, len(data), size)))


def read(data: bytes, **kwargs):
    return read_recording(sliced(data), "take.wav", **kwargs)


@pytest.mark.parametrize(
    ("kind", "subtype", "step"),
    [("WAV", "PCM_16", 2**-15), ("WAV", "PCM_24", 2**-23), ("WAV", "FLOAT", 1e-7), ("FLAC", "PCM_24", 2**-23),
     ("FLAC", "PCM_16", 2**-15), ("RF64", "PCM_16", 2**-15), ("WAVEX", "PCM_16", 2**-15)],
)  # fmt: skip
def test_what_was_written_is_read(kind, subtype, step):
    found = read(file_of(tone(), kind=kind, subtype=subtype))
    assert found.samples.dtype == np.float32 and found.rate == RATE and found.channels == 1 and not found.clipped
    np.testing.assert_allclose(found.samples, tone(), atol=2 * step + 1e-7)


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 88_200, 96_000, 192_000])
def test_another_rate_gives_the_same_tone(rate):
    """A sine is known at any rate; blocks must not show."""
    found = read(file_of(tone(2.5, rate, 997.0), rate, subtype="FLOAT")).samples
    assert abs(len(found) - 2.5 * RATE) <= 1
    middle = slice(RATE // 10, -RATE // 10)
    np.testing.assert_allclose(found[middle], tone(2.5, RATE, 997.0)[: len(found)][middle], atol=1e-4)  # 0.002 dB


def test_what_lies_above_half_the_new_rate_does_not_come_back():
    found = read(file_of(tone(1.5, 96_000, 30_000.0), 96_000, subtype="FLOAT")).samples
    assert np.abs(found[5000:-5000]).max() < 1e-4


def test_the_channel_with_the_sound_is_taken_and_what_stands_still_is_told():
    found = read(file_of(0.1 + tone(channels=2)[:, ::-1], subtype="FLOAT"))
    assert found.channel == 1 and found.channels == 2 and found.offset == pytest.approx(0.1, abs=1e-6)
    np.testing.assert_allclose(found.samples, tone(), atol=1e-6)


def test_clipping_is_counted_once_for_each_flat_top():
    samples = np.clip(tone(2.0, hz=5.0, level=1.2), -1, 1)  # 5 Hz: ten of each top, each longer than a block's seam
    assert read(file_of(samples, subtype="PCM_16")).clipped == 20
    assert read(file_of(tone(level=0.999), subtype="PCM_16")).clipped == 0


def test_a_file_is_dropped_while_it_is_read():
    data = sliced(file_of(tone(20, channels=2), subtype="PCM_24"))
    whole, steps, held = data.held, decoding(data, "take.wav"), []
    tracemalloc.start()
    try:
        for part in steps:
            held.append((part, data.held))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert [part for part, _ in held] == sorted(part for part, _ in held) and held[-1][1] < 0.1 * whole
    assert peak < 20 * RATE * 4 + 4 * MB  # one channel of float32, and blocks


def _chunk(head: bytes) -> bytes:
    return head + struct.pack("<I", 16)


BAD = {
    "empty": (b"", "the file is empty"),
    "no audio": (b"PK\x03\x04" + bytes(5000), "no WAV or FLAC"),
    "text": (b"dear diary, " * 50, "no WAV or FLAC"),
    "header only": (file_of(tone())[:44], "cut off|no sound after it"),
    "nothing in it": (file_of(np.zeros(0)), "no sound after it"),
    "truncated": (file_of(tone(10))[:400_000], r"cut off, 6 s are missing"),
    "truncated flac": (file_of(np.random.default_rng(1).normal(0, 0.1, 10 * RATE), kind="FLAC")[:500_000], "cut off"),
    "torn header": (b"RIFF" + bytes(4) + b"WAVE" + bytes(300), "cannot be read on"),
    "20 minutes": (file_of(np.zeros(20 * 60 * 8000, np.int16), 8000), "20.0 min; up to 5 min"),
    "384 kHz": (file_of(tone(1, 384_000), 384_000), "384 kHz sample rate; 8 to 192 kHz"),
    "12 channels": (file_of(tone(1, channels=12)), "12 channels; 1 or 2"),
    "not a number": (file_of(np.r_[tone(), np.nan], subtype="FLOAT"), "no number"),
    "no number either": (file_of(np.r_[tone(), np.inf], subtype="FLOAT"), "no number"),
    "far too large": (file_of(1e20 * tone(), subtype="FLOAT"), r"5e\+19 times full scale; up to 100"),
    "silent": (file_of(np.zeros(2 * RATE)), "silent throughout"),
    "steady": (file_of(0.3 + tone(level=0.001)), "steady voltage"),
    "short": (file_of(tone(0.4)), "0.4 s; 1 s or more"),
    "phone m4a": (b"\x00\x00\x00\x20ftypM4A " + bytes(900), "phone's compressed"),
    "phone 3gp": (b"\x00\x00\x00\x1cftyp3gp5" + bytes(900), "phone's compressed"),
    "opus": (b"OggS\x00\x02" + bytes(20) + b"\x01\x13OpusHead" + bytes(900), "Ogg file .Vorbis or Opus"),
    "aac": (b"\xff\xf1\x50\x80" + bytes(900), "AAC"),
    "webm": (b"\x1aE\xdf\xa3" + bytes(900), "WebM"),
    "caf": (b"caff\x00\x01" + bytes(900), "CAF"),
    "mp3 with a tag": (b"ID3\x04" + bytes(900), "MP3 file"),
    "phone amr": (b"#!AMR\n" + bytes(900), "AMR"),
    "mp3": (file_of(tone(), kind="MP3"), "MP3 file"),
    "ogg": (file_of(tone(), kind="OGG"), "Ogg"),
    "compressed in a wav": (file_of(tone(), subtype="MS_ADPCM"), "compressed sound in it"),
    "aiff": (file_of(tone(), kind="AIFF"), "no WAV or FLAC"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_audio_is_refused_in_a_sentence(case):
    data, words = BAD[case]
    with pytest.raises(AudioError, match=words) as refused:
        read(data)
    said = str(refused.value)
    assert said.startswith("take.wav: ") and said.endswith(".") and "\n" not in said and "Error" not in said


def test_a_file_that_is_too_large_is_refused_before_it_is_read():
    with pytest.raises(AudioError, match="50 MB; up to 48 MB"):
        read_recording(Slices(bytes(50 * MB)), "take.wav", MOST_BYTES_IN_A_ROOM)


def test_a_little_missing_is_told_and_not_refused():
    data = file_of(tone(3))
    assert read(data[: -RATE // 2]).short_of == pytest.approx(0.25, abs=0.01)
    assert read(data).short_of == 0


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_both_channels_are_read_where_they_are_wanted(rate):
    """Each as if it were alone; one channel stays one."""
    left, right = tone(2.0, rate, 500.0), 0.2 * tone(2.0, rate, 900.0)
    both = read(file_of(np.stack([left, right], axis=1), rate, subtype="FLOAT"), both=True)
    assert both.samples.shape[1] == 2 and both.peak == pytest.approx(0.5, rel=1e-3)
    for n, one in enumerate((left, right)):
        alone = read(file_of(one, rate, subtype="FLOAT")).samples
        np.testing.assert_allclose(both.samples[:, n], alone, atol=1e-6)
    assert read(file_of(left, rate), both=True).samples.ndim == 1
    clipped = np.clip(np.stack([4 * left, right], axis=1), -1, 1)
    assert read(file_of(clipped, rate), both=True).clipped > 100
