from django.apps import AppConfig


class ExchangeConfig(AppConfig):
    name = "kits.exchange"
    label = "exchange"
    verbose_name = "Sheets and commands"
