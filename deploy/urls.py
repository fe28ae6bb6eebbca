"""Every address of the product; each room names its own."""

from django.urls import include, path, re_path

from commissioning.api.nowhere import no_such_address
from deploy.operations import health, metrics, page

handler500 = "deploy.operations.errors.server_error"

urlpatterns = [
    # Named here so that they can be found; deploy.operations.requests answers them before anything else is asked.
    path("health/live", health.live, name="health-live"),
    path("health/ready", health.ready, name="health-ready"),
    path("metrics", metrics.show, name="metrics"),
    path("operator/", page.show, name="operator"),
    path("operator/jobs/<uuid:id>/again/", page.again, name="operator-job-again"),
    path("operator/jobs/<uuid:id>/stop/", page.stop, name="operator-job-stop"),
    path("", include("commissioning.urls")),
    path("", include("punchlist.urls")),
    path("api/v1/", include("commissioning.api.urls")),
    path("api/v1/", include("punchlist.api.urls")),
    re_path("^api/", no_such_address),
]
