from django.apps import AppConfig


class VoyageConfig(AppConfig):
    name = "refit.voyage"
