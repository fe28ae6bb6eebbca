"""Addresses of labels, and the short one that a label's QR code says."""

from django.urls import path

from commissioning.views import labels

urlpatterns = [
    path("p/<str:code>/labels/", labels.show, name="labels"),
    path("t/<str:short>/", labels.opened, name="label"),
]
