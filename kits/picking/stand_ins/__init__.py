"""What goes into a bag in the place of another part: what may, where it lies, and the giving of it."""
