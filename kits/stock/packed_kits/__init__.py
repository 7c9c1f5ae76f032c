"""Kits that are put together here: what one holds, packing it, opening it, taking a piece out and putting it back."""
