from django.apps import AppConfig


class PunchlistConfig(AppConfig):
    name = "punchlist"
    verbose_name = "punch list"
    default_auto_field = "django.db.models.BigAutoField"
