from django.apps import AppConfig
from django.db.models.signals import post_migrate


class PeopleConfig(AppConfig):
    name = "kits.people"
    label = "people"
    verbose_name = "People and roles"

    def ready(self) -> None:
        """Keep the roles in step with the permissions, which exist only once the tables do."""
        from kits.people.roles import grant_roles

        post_migrate.connect(grant_roles, dispatch_uid="people.grant_roles")
