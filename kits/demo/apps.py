from __future__ import annotations

from django.apps import AppConfig


class DemoConfig(AppConfig):
    name = "kits.demo"
    label = "demo"
    verbose_name = "Invented shop"
