"""The chapter "What shall I build from my drawer?"."""

from piezolab.pages.what_shall_i_build_from_my_drawer.chapter import make, page

__all__ = ["make", "page"]
