from django.apps import AppConfig
from django.db.models.signals import post_migrate


class BoatConfig(AppConfig):
    name = "refit.boat"

    def ready(self) -> None:
        from refit.boat.guards import install_after_migrate

        post_migrate.connect(install_after_migrate, dispatch_uid="guards")
