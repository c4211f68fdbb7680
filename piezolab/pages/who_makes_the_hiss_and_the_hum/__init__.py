"""The chapter "Who makes the hiss and the hum?"."""

from piezolab.pages.who_makes_the_hiss_and_the_hum.chapter import make, page

__all__ = ["make", "page"]
