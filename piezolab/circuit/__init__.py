"""Generic analogue circuit analysis: elements, nodal equations, operating point, small signal, noise, large signal.

Knows no instrument. Every element value may be an array; all values of one network broadcast together, so one
slider move, a sweep and a study of ten thousand builds run through the same code. Written here and not taken from a
library: it is what the project teaches, it takes arrays everywhere, and it can say why a transistor sits wrong.
"""
