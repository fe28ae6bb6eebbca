"""Addresses of the punch list's pages."""

from django.urls import path

from punchlist.views import bulk, comments, if_closed, item, listing, photo, raising

urlpatterns = [
    path("p/<str:code>/punch/", listing.show, name="punch-list"),
    path("p/<str:code>/punch/new/", raising.new, name="punch-new"),
    path("p/<str:code>/punch/tags/", raising.tags, name="punch-tags"),
    path("p/<str:code>/punch/export/", listing.export, name="punch-export"),
    path("p/<str:code>/punch/views/", listing.views, name="punch-views"),
    path("p/<str:code>/punch/views/<uuid:id>/drop/", listing.view_drop, name="punch-view-drop"),
    path("p/<str:code>/punch/assign/", bulk.assign, name="punch-bulk"),
    path("p/<str:code>/punch/assign/<uuid:batch>/undo/", bulk.undo, name="punch-bulk-undo"),
    path("p/<str:code>/uploads/photos/<uuid:id>/", photo.photo, name="punch-photo"),
    path("p/<str:code>/uploads/photos/<uuid:id>/small/", photo.small, name="punch-photo-small"),
    path("p/<str:code>/punch/photos/<uuid:id>/withdraw/", photo.withdraw, name="punch-photo-withdraw"),
    path("p/<str:code>/punch/id/<uuid:id>/", item.by_id, name="punch-item-by-id"),
    path("p/<str:code>/punch/<int:number>/", item.show, name="punch-item"),
    path("p/<str:code>/punch/<int:number>/if-closed/", if_closed.show, name="punch-if-closed"),
    path("p/<str:code>/punch/<int:number>/step/", item.step, name="punch-step"),
    path("p/<str:code>/punch/<int:number>/change/", item.change, name="punch-change"),
    path("p/<str:code>/punch/<int:number>/photos/", item.photos, name="punch-photos"),
    path("p/<str:code>/dossiers/<uuid:id>/comments/", comments.show, name="dossier-comments"),
    path("p/<str:code>/dossiers/comments/<uuid:id>/put/", comments.put, name="dossier-comment-put"),
    path("p/<str:code>/dossiers/comments/<uuid:id>/answer/", comments.answer, name="dossier-comment-answer"),
]
