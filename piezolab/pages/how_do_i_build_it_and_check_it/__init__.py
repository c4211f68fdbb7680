"""The chapter "How do I build it and check it?"."""

from piezolab.pages.how_do_i_build_it_and_check_it.chapter import make, page

__all__ = ["make", "page"]
