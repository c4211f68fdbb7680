"""The table that most of these tests weigh readings with: made once for all of them."""

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.faults import FaultTable, fault_table


@pytest.fixture(scope="session")
def table() -> FaultTable:
    """The default chain's table."""
    return fault_table(SignalChain())
