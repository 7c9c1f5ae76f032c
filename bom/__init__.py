"""The arithmetic of rebuilds: structure, explosion, kits, wear, matching, what to buy.

Pure Python and NumPy. Nothing here reads a file, a clock or a database; today's date is an argument.
"""
