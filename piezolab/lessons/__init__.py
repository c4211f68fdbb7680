"""Lessons: text files read, checked and told."""
