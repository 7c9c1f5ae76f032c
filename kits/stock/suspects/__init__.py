"""Lots under suspicion: frozen wherever they lie, kits that hold them included, until somebody has looked into it."""
