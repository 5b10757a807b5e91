from django.apps import AppConfig


class BoatConfig(AppConfig):
    name = "refit.boat"
