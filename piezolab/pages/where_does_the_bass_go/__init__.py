"""The chapter "Where does the bass go?"."""

from piezolab.pages.where_does_the_bass_go.chapter import make, page

__all__ = ["make", "page"]
