"""Plots of a test recording: drawn by the server for any window of time, and their numbers for reading off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from commissioning.drawings.time_series import LEFT, RIGHT, Level, Plot, Series, time_series, time_span
from commissioning.errors import ServiceError
from commissioning.models import TestRecording
from commissioning.selectors.recordings import recording_or_404
from commissioning.services.recording_runs import window_of
from commissioning.views.base import ProjectRequest, project_view
from commissioning.views.workings import drawn

WIDTH, HEIGHT = 350.0, 130.0


@dataclass(frozen=True, slots=True)
class Window:
    """The time shown, in minutes from the start of the log; None: to that end of it."""

    start: float | None = None
    end: float | None = None
    error: str = ""

    @property
    def whole(self) -> bool:
        return self.start is None and self.end is None


def window_asked(given: Mapping[str, str]) -> Window:
    """`?from=` and `?to=` in minutes; what cannot be read is told, and the whole log is shown."""
    try:
        start, end = (_minutes(given.get(name, "")) for name in ("from", "to"))
    except ValueError:
        return Window(error="Write the window in minutes from the start of the log, as 30 and 45.5.")
    if start is not None and end is not None and end <= start:
        return Window(error="The window ends before it begins.")
    return Window(start, end)


def _minutes(text: str) -> float | None:
    if not text.strip():
        return None
    value = float(text.strip().replace(",", "."))
    if not math.isfinite(value):
        raise ValueError(text)
    return max(value, 0.0)


def figures_context(recording: TestRecording, given: Mapping[str, str], code: str) -> dict[str, Any]:
    """Drawings of the window, for templates/commissioning/recordings/figures.html."""
    window = window_asked(given)
    error, plots = window.error, recording.plot.get("plots", [])
    if not window.whole:
        try:
            plots = window_of(recording, start=window.start, end=window.end)["plots"]
        except ServiceError as refusal:
            window, error = Window(), refusal.words
    names = [recording.pk]
    return {
        "recording": recording,
        "figures": [_figure(plot) for plot in plots],
        "window": window,
        "window_error": error,
        "asked": {name: given.get(name, "") for name in ("from", "to")},
        "plot_url": reverse("recording-plot", args=[code, *names]),
        "figures_url": reverse("recording-figures", args=[code, *names]),
        "page_url": reverse("recording", args=[code, *names]),
    }


def _figure(plot: Mapping[str, Any]) -> dict[str, Any]:
    """One drawing, and where its axes lie on it."""
    series = [Series(one["name"], one["values"], one.get("weak", False)) for one in plot["series"]]
    levels = [Level(one["value"], one["name"]) for one in plot.get("levels", [])]
    drawing = time_series(
        Plot(plot["title"], plot["unit"], plot["times"], plot["time_unit"], series, levels), width=WIDTH, height=HEIGHT
    )
    low, high = time_span(plot["times"])
    axes = {"left": LEFT, "right": WIDTH - RIGHT, "low": low, "high": high}
    return {"title": plot["title"], "picture": drawn(drawing), "axes": axes}


@require_safe
@project_view
def figures(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The drawings alone, to be put in the place of others."""
    recording = _read_or_404(request, id)
    context = {"code": request.access.project.code} | figures_context(
        recording, request.GET.dict(), request.access.project.code
    )
    return render(request, "commissioning/recordings/figures.html", context)


@require_safe
@project_view
def plot(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The numbers behind the drawings, for reading off at a time."""
    recording = _read_or_404(request, id)
    window = window_asked(request.GET.dict())
    if window.error:
        return JsonResponse({"detail": window.error}, status=400)
    found = recording.plot if window.whole else window_of(recording, start=window.start, end=window.end)
    response = JsonResponse(found)
    response["Cache-Control"] = "private, no-cache"
    return response


def _read_or_404(request: ProjectRequest, id: UUID) -> TestRecording:
    recording = recording_or_404(access=request.access, id=id)
    if not recording.plot:
        raise Http404("This recording was not read yet.")
    return recording
