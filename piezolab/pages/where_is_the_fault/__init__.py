"""The chapter "Where is the fault?"."""

from piezolab.pages.where_is_the_fault.chapter import make, page

__all__ = ["make", "page"]
