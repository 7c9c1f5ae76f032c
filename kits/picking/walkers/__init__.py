"""One round and several hands: paused, handed over, shared out."""
