"""Addresses of what keeps a project moving: finding things, copying what was built before."""

from django.urls import path

from commissioning.views import copying, find

urlpatterns = [
    path("p/<str:code>/find/", find.show, name="find"),
    path("p/<str:code>/systems/<uuid:id>/copy/", copying.system, name="system-copy"),
    path("p/<str:code>/sites/<uuid:id>/copy/", copying.site, name="site-copy"),
]
