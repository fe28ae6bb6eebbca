"""Addresses of the punch list's API, mounted under /api/v1/."""

from django.urls import URLPattern, URLResolver, include, path

from punchlist.api import comments, views

_item: list[URLPattern | URLResolver] = [
    path("", views.Item.as_view(), name="api-punch-item"),
    path("rectify/", views.Rectify.as_view(), name="api-punch-rectify"),
    path("close/", views.Close.as_view(), name="api-punch-close"),
    path("send-back/", views.SendBack.as_view(), name="api-punch-send-back"),
    path("reopen/", views.Reopen.as_view(), name="api-punch-reopen"),
    path("photos/", views.Photos.as_view(), name="api-punch-photos"),
]
_items: list[URLPattern | URLResolver] = [
    path("", views.Items.as_view(), name="api-punch-items"),
    path("assign/", views.Assign.as_view(), name="api-punch-assign"),
    path("assign/<uuid:batch>/undo/", views.UndoAssignment.as_view(), name="api-punch-assign-undo"),
    path("<uuid:id>/", include(_item)),
]
urlpatterns = [
    path("projects/<str:code>/punch-items/", include(_items)),
    path("projects/<str:code>/punch-photos/<uuid:photo>/", views.PhotoFile.as_view(), name="api-punch-photo"),
    path("projects/<str:code>/dossiers/<uuid:id>/comments/", comments.Comments.as_view(), name="api-dossier-comments"),
    path(
        "projects/<str:code>/dossier-comments/<uuid:id>/put/",
        comments.PutComment.as_view(),
        name="api-dossier-comment-put",
    ),
    path(
        "projects/<str:code>/dossier-comments/<uuid:id>/answer/",
        comments.AnswerComment.as_view(),
        name="api-dossier-comment-answer",
    ),
]
