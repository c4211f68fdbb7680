"""The home page: the chain at a glance, the questions, instruments to start from."""

from piezolab.pages.start.start_page import make, page

__all__ = ["make", "page"]
