"""Addresses of the commissioning pages, gathered from their groups."""

from django.urls import include, path

urlpatterns = [
    path("", include("commissioning.page_urls.account")),
    path("", include("commissioning.page_urls.core")),
    path("", include("commissioning.page_urls.moving")),
    path("", include("commissioning.page_urls.run")),
    path("", include("commissioning.page_urls.records")),
    path("", include("commissioning.page_urls.dossiers")),
    path("", include("commissioning.page_urls.recordings")),
    path("", include("commissioning.page_urls.phone")),
    path("", include("commissioning.page_urls.labels")),
]
