"""Pieces of jobs that go in the place of another part."""
