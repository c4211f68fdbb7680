"""The chapter "Will this transistor do?"."""

from piezolab.pages.will_this_transistor_do.chapter import make, page

__all__ = ["make", "page"]
