"""Addresses of the phone's app."""

from django.urls import path

from commissioning.views import from_phones, phone

urlpatterns = [
    path("phone/", phone.start, name="phone-start"),
    path("phone/session/", phone.session, name="phone-session"),
    path("phone/<str:version>/<path:name>", phone.file, name="phone-file"),
    path("phone-worker.js", phone.worker, name="phone-worker"),
    path("phone.webmanifest", phone.manifest, name="phone-manifest"),
    path("p/<str:code>/phone/", phone.show, name="phone"),
    path("p/<str:code>/from-the-phone/", from_phones.show, name="from-phones"),
]
