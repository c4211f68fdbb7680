"""The signal chain: pickup, lead, stage, supply, cable, input. One immutable, validated description of all of it."""

from piezolab.chain.problems import ChainError, Problem
from piezolab.chain.signal_chain import SignalChain

__all__ = ["ChainError", "Problem", "SignalChain"]
