"""Addresses of portfolio, site, system, stage, supplies, tag and history."""

from django.urls import path

from commissioning.views import (
    comparison,
    curves,
    dependencies,
    history,
    holding,
    portfolio,
    site,
    stage,
    supplies,
    system,
    tag,
    when,
)

urlpatterns = [
    path("p/<str:code>/", portfolio.show, name="portfolio"),
    path("p/<str:code>/holding/", holding.show, name="holding"),
    path("p/<str:code>/when/", when.show, name="when"),
    path("p/<str:code>/dependencies/", dependencies.show, name="dependencies"),
    path("p/<str:code>/comparison/", comparison.show, name="comparison"),
    path("p/<str:code>/curves/", curves.show, name="curves"),
    path("p/<str:code>/sites/<uuid:id>/", site.show, name="site"),
    path("p/<str:code>/systems/<uuid:id>/", system.show, name="system"),
    path("p/<str:code>/systems/<uuid:id>/history/", history.show, name="system-history"),
    path("p/<str:code>/systems/<uuid:id>/supplies/", supplies.show, name="supplies"),
    path("p/<str:code>/stages/<uuid:id>/", stage.show, name="stage"),
    path("p/<str:code>/stages/<uuid:id>/start/", stage.start, name="stage-start"),
    path("p/<str:code>/stages/<uuid:id>/accept/", stage.accept, name="stage-accept"),
    path("p/<str:code>/stages/<uuid:id>/withdraw/", stage.withdraw, name="stage-withdraw"),
    path("p/<str:code>/stages/<uuid:id>/plan/", stage.plan, name="stage-plan"),
    path("p/<str:code>/stages/<uuid:id>/permission/", supplies.sign, name="permission-new"),
    path("p/<str:code>/permissions/<uuid:id>/", supplies.permission, name="permission"),
    path("p/<str:code>/permissions/<uuid:id>/withdraw/", supplies.withdraw, name="permission-withdraw"),
    path("p/<str:code>/supplies/<uuid:id>/", supplies.supply, name="supply"),
    path("p/<str:code>/supplies/<uuid:id>/isolate/", supplies.isolate, name="supply-isolate"),
    path("p/<str:code>/supplies/<uuid:id>/release/", supplies.release, name="supply-release"),
    path("p/<str:code>/tags/<uuid:id>/", tag.show, name="tag"),
    # A tag may hold a slash (IEC 81346 allows it), so it runs to the end of the address.
    path("p/<str:code>/t/<path:tag>/", tag.by_name, name="tag-by-name"),
]
