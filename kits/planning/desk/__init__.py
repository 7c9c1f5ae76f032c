"""Build days proposed; expected wear kept, and how sure it was."""
