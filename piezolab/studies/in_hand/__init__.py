"""What is in the maker's hand, measured: two readings of a transistor, a pickup, an input."""
