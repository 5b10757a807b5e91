from django.apps import AppConfig


class CarryConfig(AppConfig):
    name = "refit.carry"
