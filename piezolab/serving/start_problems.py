"""What keeps the server from starting."""


class ServingError(RuntimeError):
    """The server cannot start; the message says why in one sentence."""
