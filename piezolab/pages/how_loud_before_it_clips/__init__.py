"""The chapter "How loud before it clips?"."""

from piezolab.pages.how_loud_before_it_clips.chapter import make, page

__all__ = ["make", "page"]
