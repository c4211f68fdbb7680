"""Sound as arrays of samples: plucked strings and tines, filtering, loudness, noise, files. Knows no instrument.

A signal is a float64 array of shape (N,) at `RATE` samples a second. numpy alone: a visitor's kernel that plays a note
grows by a few megabytes, where scipy.signal would add about fifty.
"""

#: Samples a second: what audio interfaces and browsers run at, and the rate of the loudness standard's filters.
RATE = 48_000


class AudioError(ValueError):
    """Something that cannot be turned into sound; the message is one plain sentence."""
