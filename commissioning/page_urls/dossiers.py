"""Addresses of dossiers, and of checking one."""

from django.urls import path

from commissioning.views import dossier_check, dossiers

P = "p/<str:code>/dossiers/"

urlpatterns = [
    path(P, dossiers.show, name="dossiers"),
    path(f"{P}new/", dossiers.new, name="dossier-new"),
    path(f"{P}<uuid:id>/", dossiers.dossier, name="dossier"),
    path(f"{P}<uuid:id>/read/", dossiers.read, name="dossier-read"),
    path(f"{P}<uuid:id>/download/", dossiers.download, name="dossier-download"),
    path(f"{P}<uuid:id>/content/", dossiers.content, name="dossier-content"),
    path(f"{P}<uuid:id>/cancel/", dossiers.cancel, name="dossier-cancel"),
    path(f"{P}<uuid:id>/again/", dossiers.again, name="dossier-again"),
    path(f"{P}<uuid:id>/receive/", dossiers.receive, name="dossier-receive"),
    path("check/", dossier_check.check, name="dossier-check"),
    path("check/<str:number>/<int:revision>/", dossier_check.check, name="dossier-check-number"),
]
