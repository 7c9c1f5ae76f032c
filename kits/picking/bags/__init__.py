"""Bags as things: what lies in each, where it stands, who took it to the bench, and what it still lacks."""
