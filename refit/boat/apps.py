from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class BoatConfig(AppConfig):
    name = "refit.boat"

    def ready(self) -> None:
        from refit.boat.guards import install_after_migrate, lift_before_migrate

        # Only of this app: each fires once for every app, and putting up a hundred guards takes a moment.
        pre_migrate.connect(lift_before_migrate, sender=self, dispatch_uid="guards lifted")
        post_migrate.connect(install_after_migrate, sender=self, dispatch_uid="guards")
