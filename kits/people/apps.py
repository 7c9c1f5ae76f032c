from django.apps import AppConfig, apps
from django.db.models.signals import post_migrate


class PeopleConfig(AppConfig):
    name = "kits.people"
    label = "people"
    verbose_name = "People and roles"

    def ready(self) -> None:
        """Keep the roles in step with the permissions, which exist only once the tables do."""
        from kits.people.roles import grant_roles

        *_, last = (config for config in apps.get_app_configs() if config.models_module)
        post_migrate.connect(grant_roles, sender=last, dispatch_uid="people.grant_roles")
