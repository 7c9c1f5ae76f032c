"""What is on record of a pump: the record of a rebuild, and all rebuilds of a serial."""
