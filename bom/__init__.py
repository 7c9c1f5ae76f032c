"""The arithmetic of rebuilds: structure, explosion, kits, wear, matching, what to buy.

Pure Python and NumPy. Nothing here reads a file, a clock or a database; today's date is an argument.

Others come in by these doors, and know nothing else of the core:

    values, errors      what goes in, and what can be wrong with it
    plan                the plan of a shop, handed about as it is
    reading             a finished plan in names, days and amounts, and the lists of its catalog
    questions           what else can be asked of a finished plan, one module each
    answers.rows        the plan as plain rows, and its flags (``answers.flags``)
    explain             why a number is what it is
    buying.charges      what an order comes to with its supplier's charges
    demand.checks       everything that is wrong with a shop
    structure           of it only what stands alone: ``calendar``, ``cure``, ``shelf_life``, ``packets``, ``units``
"""
