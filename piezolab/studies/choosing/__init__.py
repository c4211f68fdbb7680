"""Which build to choose: the drawer, the bag, tolerances, the resistor that suits."""
