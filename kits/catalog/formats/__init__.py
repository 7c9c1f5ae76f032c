"""How days, numbers, weeks, paper and sizes are written in the shop."""
