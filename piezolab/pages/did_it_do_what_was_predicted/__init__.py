"""The chapter "Did it do what was predicted?"."""

from piezolab.pages.did_it_do_what_was_predicted.chapter import make, page

__all__ = ["make", "page"]
