"""Addresses of test recordings."""

from django.urls import path

from commissioning.views import recording_plots, recordings

LIST = "p/<str:code>/recordings/"
ONE = f"{LIST}<uuid:id>/"

urlpatterns = [
    path(LIST, recordings.index, name="recordings"),
    path(f"{LIST}new/", recordings.new, name="recording-new"),
    path(ONE, recordings.show, name="recording"),
    path(f"{ONE}confirm/", recordings.confirm, name="recording-confirm"),
    path(f"{ONE}progress/", recordings.progress, name="recording-progress"),
    path("p/<str:code>/uploads/recordings/<uuid:id>/", recordings.raw, name="recording-raw"),
    path(f"{ONE}plot/", recording_plots.plot, name="recording-plot"),
    path(f"{ONE}figures/", recording_plots.figures, name="recording-figures"),
]
