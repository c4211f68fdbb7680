"""What a meter should say: the instrument, the readings to expect, first power."""
