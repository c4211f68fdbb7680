"""Generic analogue circuit analysis: elements, nodal equations, operating point, small signal, noise, large signal.

Knows no instrument. Every element value may be an array; all values of one network broadcast together, so one
slider move, a sweep and a study of ten thousand builds run through the same code.
"""
