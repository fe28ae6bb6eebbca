"""Addresses of what keeps a project moving: finding things, being told, copying what was built before."""

from django.urls import path

from commissioning.views import copying, find, mails_off, notices, witness_notices

WITNESS = "p/<str:code>/witness/<uuid:id>/"

urlpatterns = [
    path("p/<str:code>/find/", find.show, name="find"),
    path("p/<str:code>/notices/", notices.show, name="notices"),
    path("p/<str:code>/notices/seen/", notices.seen, name="notices-seen"),
    path("p/<str:code>/notices/choice/", notices.choice, name="notices-choice"),
    path("p/<str:code>/notices/<uuid:id>/", notices.follow, name="notice"),
    path("witness/<str:token>/", witness_notices.by_mail, name="witness-answer"),
    path(WITNESS, witness_notices.show, name="witness-notice"),
    path(f"{WITNESS}answer/", witness_notices.answer, name="witness-notice-answer"),
    path(f"{WITNESS}move/", witness_notices.move, name="witness-notice-move"),
    path(f"{WITNESS}cancel/", witness_notices.cancel, name="witness-notice-cancel"),
    path(f"{WITNESS}calendar/", witness_notices.calendar, name="witness-notice-calendar"),
    path("mails/off/<str:token>/", mails_off.off, name="mails-off"),
    path("p/<str:code>/systems/<uuid:id>/copy/", copying.system, name="system-copy"),
    path("p/<str:code>/sites/<uuid:id>/copy/", copying.site, name="site-copy"),
]
