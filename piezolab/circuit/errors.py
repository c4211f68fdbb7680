"""What can go wrong in a circuit, said with the name of the node or element."""


class CircuitError(ValueError):
    """A network that cannot be solved; the message names the node or element."""


class FloatingNodeError(CircuitError):
    """A node without a path to ground for direct current, so its voltage is not defined."""


class SingularNetworkError(CircuitError):
    """The nodal equations have no unique solution (for example two voltage sources in a loop)."""


class OperatingPointError(CircuitError):
    """No operating point was found; the message names the transistor and how many of the batch failed."""
