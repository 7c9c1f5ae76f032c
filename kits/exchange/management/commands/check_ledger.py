"""Prove that every balance is the sum of its movements."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from kits.planning.words.states import plural
from kits.stock.models import Balance, Movement
from kits.stock.queries import ledger_differences


class Command(BaseCommand):
    """Prints how many balances were proved; with a difference, prints each and ends with 1."""

    help = "Proves that every balance is the sum of its movements."
    requires_system_checks = ()  # which would load every page

    def handle(self, *args: Any, **options: Any) -> None:
        """Compare every balance with its movements."""
        differences = ledger_differences()
        for difference in differences:
            self.stderr.write(difference)
        count, movements = plural(Balance.objects.count(), "balance"), plural(Movement.objects.count(), "movement")
        if differences:
            raise CommandError(f"Of {count}, not the sum of its movements: {len(differences)}.")
        self.stdout.write(f"Every balance is the sum of its movements: {count}, {movements}.")
