"""The chapter "What do cable and input change?"."""

from piezolab.pages.what_do_cable_and_input_change.chapter import make, page

__all__ = ["make", "page"]
