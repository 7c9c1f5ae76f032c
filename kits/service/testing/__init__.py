"""Tests of pumps: what the shop's limits are, what was read off, and what comes of it."""
