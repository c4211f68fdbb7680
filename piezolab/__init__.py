"""piezolab: what pickup, transistor, cable and input do to the sound of a home-made instrument."""

__version__ = "0.1.0"
