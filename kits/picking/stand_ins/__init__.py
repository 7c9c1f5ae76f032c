"""What may go in the place of another part, and what went."""
