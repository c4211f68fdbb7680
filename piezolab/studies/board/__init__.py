"""A board for a chain: lanes, parts on them, and where each lead goes."""
