"""What a linear circuit does to a sound; one peak for several sounds; fades; a file in memory."""

from __future__ import annotations

import io
import wave
from collections.abc import Callable, Sequence

import numpy as np

from piezolab.audio import RATE, AudioError

Response = Callable[[np.ndarray], np.ndarray] | tuple[np.ndarray, np.ndarray]

_QUIET = 1e-4  # of the largest sample: what may be left at the end of the padding
_EARLY = 4e-3  # of the impulse response's rms: what may come more than a millisecond early
_LONGEST = 2**21  # samples, 44 s
_AT_ONCE = 2**14  # frequencies asked for at a time, so that a network's solution stays small
_REACH, _KAISER = 32, 11.16  # samples either way, and the window's shape: 110 dB
_STEPS = 2**15 - 2  # of 16 bits: full scale, less one step for the dither


def as_signal(signal: np.ndarray, what: str = "signal") -> np.ndarray:
    """The signal as float64, shape (N,). Raises AudioError unless it is one row of finite numbers."""
    signal = np.asarray(signal, float)
    if signal.ndim != 1 or not signal.size:
        raise AudioError(f"{what}: its shape is {signal.shape}; one row of samples, (N,), is allowed.")
    if not np.isfinite(signal).all():
        raise AudioError(f"{what}: it has samples that are no number; finite numbers only are allowed.")
    return signal


def filtered(signal: np.ndarray, response: Response) -> np.ndarray:
    """The signal after a linear circuit, shape (N,): what the circuit does after the last sample is cut off.

    response: complex gain as a function of frequency (Hz, shape (F,)), or a pair of arrays (rising frequencies, complex
    gain), joined by straight lines over log frequency and held beyond their ends. It is never asked for at 0 Hz: the
    real part at the lowest bin (about 0.2 Hz) stands in.

    The signal is padded with silence until what comes out has died away, so nothing wraps round to its start. Raises
    AudioError where 44 s are not enough for that (80 dB below the peak), or where the response answers before it is
    asked, which no circuit does.
    """
    signal = as_signal(signal)
    spectrum, length = answers(signal, response)
    return np.fft.irfft(spectrum, length)[: len(signal)].copy()


def answers(signal: np.ndarray, response: Response) -> tuple[np.ndarray, int]:
    """Spectrum of what comes out, shape (F,), and the number of samples that it stands for; see `filtered`."""
    signal = as_signal(signal)
    length = 1 << (len(signal) + 3 * RATE // 2).bit_length()
    while length <= _LONGEST:
        gain = _sampled(response, np.fft.rfftfreq(length, 1 / RATE))
        spectrum = np.fft.rfft(signal, length) * gain
        out = np.fft.irfft(spectrum, length)
        if np.abs(out[-RATE : -RATE // 20]).max() <= _QUIET * np.abs(out).max() and _causal(gain):
            return spectrum, length
        length *= 2
    raise AudioError(
        f"response: what comes out does not fall 80 dB within {_LONGEST / RATE:.0f} s, or begins before what goes in; "
        "only the response of a real circuit that settles is allowed."
    )


def answers_within(signal: np.ndarray, response: Response, length: int, left: float) -> np.ndarray | None:
    """Spectra of several things that come out, shape (K, F), for so many samples; None where more than `left` of the
    largest sample of one still comes out at their end. response: a function whose answer has the shape (K, F)."""
    spectra = np.fft.rfft(as_signal(signal), length) * _sampled(response, np.fft.rfftfreq(length, 1 / RATE))
    ends = [np.abs(np.fft.irfft(row, length)) for row in spectra]
    return spectra if all(one[-RATE : -RATE // 20].max() <= left * one.max() for one in ends) else None


def at_times_the_rate(spectrum: np.ndarray, length: int, times: int) -> np.ndarray:
    """The signals of some spectra (`answers`) at `times` as many samples a second, shape (..., length x times)."""
    spectrum = spectrum.copy()
    spectrum[..., -1] *= 0.5  # half the sample rate is no longer the end
    return np.fft.irfft(spectrum, length * times) * times


def finer(signal: np.ndarray, times: int) -> np.ndarray:
    """A signal, shape (N,), silent before and behind, at `times` as many samples a second, shape (N x times,).

    Between samples stands a sinc under a Kaiser window (J. F. Kaiser and R. W. Schafer, IEEE Trans. ASSP 28 (1980) 105,
    from memory): true to 2e-5 up to 0.89 of half the signal's rate, and mirrored above that 95 dB down.
    """
    at = np.arange(-_REACH * times, _REACH * times + 1) / times
    taps = np.sinc(at) * np.kaiser(len(at), _KAISER)
    phases = [np.convolve(signal, taps[phase::times])[_REACH:][: len(signal)] for phase in range(times)]
    return np.stack(phases, axis=-1).reshape(-1)


def brought_down(signal: np.ndarray, times: int) -> np.ndarray:
    """A signal of `times` the rate, silent at both ends, at the rate itself, shape (N / times,): what lies above half
    the rate is left out. N must be a multiple of `times`."""
    spectrum = np.fft.rfft(signal)[: len(signal) // times // 2 + 1]
    return np.fft.irfft(spectrum, len(signal) // times) / times


def _causal(gain: np.ndarray) -> bool:
    """Whether the impulse response begins with the impulse.

    Above 12 kHz the response is faded out first: its cut at half the sample rate would ring to both sides. The limit
    lies between what straight lines between 400 points, or a loss tangent of 0.2 that is the same at all frequencies,
    answer too early (0.2 %) and what a high-pass of 0.5 Hz turned round in time does (0.7 %).
    """
    fade = np.clip(np.linspace(-1, 1, len(gain)), 0, 1)
    impulse = np.fft.irfft(gain * np.cos(0.5 * np.pi * fade) ** 2)
    early = impulse[len(impulse) // 2 : -RATE // 1000]
    return bool(early @ early <= _EARLY**2 * (impulse @ impulse))


def _sampled(response: Response, frequency: np.ndarray) -> np.ndarray:
    """The response at all bins, that at 0 Hz real."""
    if callable(response):
        blocks = np.split(frequency[1:], range(_AT_ONCE, len(frequency) - 1, _AT_ONCE))
        gain = np.concatenate([np.asarray(response(block), complex) for block in blocks], axis=-1)
    else:
        at, given = (np.asarray(part) for part in response)
        check_table(at, given, "response")
        x = np.log(frequency[1:])
        gain = np.interp(x, np.log(at), given.real) + 1j * np.interp(x, np.log(at), given.imag)
    if gain.shape[-1:] != (len(frequency) - 1,) or not np.isfinite(gain).all():
        raise AudioError("response: it has gaps; one finite number for each frequency is allowed.")
    return np.concatenate([gain[..., :1].real, gain], axis=-1)


def check_table(frequency: np.ndarray, value: np.ndarray, what: str) -> None:
    """Raises AudioError unless frequencies above 0 Hz rise, with one finite value for each."""
    if frequency.ndim != 1 or frequency.shape != value.shape or not len(frequency):
        raise AudioError(
            f"{what}: {frequency.shape} frequencies and {value.shape} values; one value for each frequency is allowed."
        )
    if not (frequency[0] > 0 and (np.diff(frequency) > 0).all() and np.isfinite(frequency[-1])):
        raise AudioError(f"{what}: its frequencies must rise and lie above 0 Hz.")
    if not np.isfinite(value).all():
        raise AudioError(f"{what}: it has values that are no number; finite numbers only are allowed.")


def largest(signals: Sequence[np.ndarray]) -> float:
    """The largest magnitude of any sample of any signal."""
    return max((float(np.abs(as_signal(signal)).max()) for signal in signals), default=0.0)


def gain_to_peak(signals: Sequence[np.ndarray], peak: float) -> float:
    """The one gain that brings the largest sample of all signals to `peak`; 1 where all are silent.

    One gain for all keeps their levels against each other. Nothing is ever clipped.
    """
    if not 0 < peak <= 1:
        raise AudioError(f"peak: {peak:g} of full scale; above 0 and up to 1 is allowed.")
    top = largest(signals)
    return peak / top if top > 0 else 1.0


def faded(signal: np.ndarray, in_s: float = 5e-3, out_s: float = 0.25) -> np.ndarray:
    """A copy that rises from silence and sinks into it along half a cosine, so that neither end clicks."""
    signal = as_signal(signal).copy()
    rise, fall = round(in_s * RATE), round(out_s * RATE)
    if rise < 0 or fall < 0 or rise + fall > len(signal):
        raise AudioError(
            f"fade: {in_s:g} s and {out_s:g} s on a sound of {len(signal) / RATE:g} s; "
            "from 0 s to the length of the sound, both together, is allowed."
        )
    signal[:rise] *= np.sin(0.5 * np.pi * np.arange(rise) / max(rise, 1)) ** 2
    signal[len(signal) - fall :] *= np.cos(0.5 * np.pi * np.arange(1, fall + 1) / max(fall, 1)) ** 2
    return signal


def wav(signal: np.ndarray) -> bytes:
    """A WAV file of one channel, 16 bits, at `RATE`; a sample of 1 is full scale.

    Rounding is hidden under triangular dither of two steps (Lipshitz, Wannamaker & Vanderkooy 1992, J. Audio Eng.
    Soc. 40, from memory), the same for the same length. Raises AudioError for samples beyond full scale: scale first.
    The standard library writes the file; a sound-file library would add a compiled codec for this one format.
    """
    signal = as_signal(signal)
    top = np.abs(signal).max()
    if top > 1:
        raise AudioError(f"signal: a sample is {top:.4g} times full scale; up to 1 is allowed.")
    chance = np.random.default_rng(len(signal))
    dither = chance.random(len(signal)) - chance.random(len(signal))
    steps = np.rint(signal * _STEPS + dither).astype("<i2")
    file = io.BytesIO()
    with wave.open(file, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(RATE)
        writer.writeframes(steps.tobytes())
    return file.getvalue()
