"""Pieces of jobs that go in the place of another part, and as which part they count."""
