"""What a process that reads files alone has before it is given the first: the program, set up once for all of them."""

import django

django.setup()

import kits.exchange.actions  # noqa: E402, F401
