"""Where each system stands and what holds it: read from the counters, a page at a time."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from commissioning.models import SystemCounters
from commissioning.selectors.access import Access
from commissioning.selectors.holds import MOVABLE, MOVES, Move
from commissioning.selectors.keyset import after, key_text, key_values
from commissioning.selectors.portfolio_rows import SystemRow, rows_of

PAGE_SIZE = 40
#: How many systems the first list of the page shows; the filter shows all of them.
SHOWN_FIRST = 12
MOVABLE_PLACES = tuple(MOVES.index(move) for move in MOVABLE)
#: What a list can be sorted by. The tag is unique in a project, so it settles every tie.
SORTS: dict[str, tuple[str, ...]] = {
    "site": ("site_code", "tag"),
    "tag": ("tag",),
    "stage": ("hand_order", "site_code", "tag"),
    "planned": ("planned", "site_code", "tag"),
    "items": ("open_a", "open_b", "open_c", "tag"),
    "move": ("move", "site_code", "tag"),
}
_TYPES = {"planned": date, **dict.fromkeys(("hand_order", "open_a", "open_b", "open_c", "move"), int)}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the reader asked to see."""

    site: UUID | str | None = None  # a site's key, or words of its code or name
    kind: str = ""
    stage: str = ""  # kind of the stage in hand
    text: str = ""
    show: str = ""  # move, held, mine, waits, accepted, live, exceptions
    list: str = ""  # sites or systems; empty: by how many sites there are
    sort: str = "site"
    backwards: bool = False
    after: str = ""  # the key of the last row that was shown

    @property
    def narrowed(self) -> bool:
        return bool(self.site or self.kind or self.stage or self.text or self.show)


@dataclass(frozen=True, slots=True)
class Portfolio:
    """One page of rows, how all that were asked for stand, and the systems that could move today."""

    rows: list[SystemRow]
    next: str  # key of the last row, when there are more
    begun: str  # site of the row before the first, where the list goes on from another page
    counts: dict[Move, int]
    movable: list[SystemRow] = field(default_factory=list)

    @property
    def total(self) -> int:
        return sum(self.counts.values())

    @property
    def could_move(self) -> int:
        return sum(self.counts.get(move, 0) for move in MOVABLE)


def counters_for(access: Access) -> QuerySet[SystemCounters]:
    """The counters of every system that the person may see."""
    return SystemCounters.objects.filter(access.limit("site"), project=access.project)


def portfolio(*, access: Access, wanted: Wanted, systems: bool = True, first_screen: bool = False) -> Portfolio:
    """One page of the systems that the reader asked for; on the first screen also those that could move today.

    Three queries at most, whatever the number of systems. Without `systems` there are none but those that could move.
    """
    asked = systems_wanted(access=access, wanted=wanted)
    page, more, begun = _page(asked, wanted) if systems else ([], "", "")
    first: list[SystemCounters] = []
    if first_screen:
        movable = asked.filter(move__in=MOVABLE_PLACES).order_by("move", "site_code", "tag")
        first = list(movable.select_related("system__site")[:SHOWN_FIRST])
    rows = rows_of([*page, *first])
    return Portfolio(
        rows=rows[: len(page)],
        next=more,
        begun=begun,
        counts=_by_move(asked),
        movable=sorted(rows[len(page) :], key=_by_site),
    )


def _by_site(row: SystemRow) -> tuple[str, int, str]:
    return row.counters.site_code, row.counters.move, row.counters.tag


def _page(asked: QuerySet[SystemCounters], wanted: Wanted) -> tuple[list[SystemCounters], str, str]:
    columns = SORTS.get(wanted.sort, SORTS["site"])
    rows = asked.order_by(*(f"-{column}" if wanted.backwards else column for column in columns))
    values = key_values(wanted.after, [_TYPES.get(column, str) for column in columns])
    if values is not None:
        rows = rows.filter(after(columns, values, backwards=wanted.backwards))
    found = list(rows.select_related("system__site")[: PAGE_SIZE + 1])
    page = found[:PAGE_SIZE]
    more = key_text([getattr(page[-1], column) for column in columns]) if len(found) > PAGE_SIZE else ""
    return page, more, str(values[0]) if values and columns[0] == "site_code" else ""


def _by_move(asked: QuerySet[SystemCounters]) -> dict[Move, int]:
    found = dict(asked.order_by().values_list("move").annotate(many=Count("*")).values_list("move", "many"))
    return {move: found.get(place, 0) for place, move in enumerate(MOVES)}


def systems_wanted(*, access: Access, wanted: Wanted) -> QuerySet[SystemCounters]:
    """The filters, in no order yet."""
    rows = counters_for(access)
    if wanted.site:
        rows = rows.filter(_at_site(wanted.site))
    if wanted.kind:
        rows = rows.filter(kind=wanted.kind)
    if wanted.stage:
        rows = rows.filter(hand_kind=wanted.stage)
    for word in wanted.text.split():
        rows = rows.filter(
            Q(tag__icontains=word) | Q(system__name__icontains=word) | Q(site__name__icontains=word) | Q(site_code=word)
        )
    return rows.filter(_shown(access, wanted.show))


def _at_site(site: UUID | str) -> Q:
    if isinstance(site, UUID):
        return Q(site=site)
    return Q(site_code__iexact=site) | Q(site__name__icontains=site)


def _shown(access: Access, show: str) -> Q:
    if show == "mine":
        mine = Q(**{f"turn_{access.role}": True})
        return mine | Q(turn_authorised_person=True) if access.authorised_person else mine
    return {
        "move": Q(move__in=MOVABLE_PLACES),
        "held": Q(held=True),
        "waits": Q(move=MOVES.index(Move.WAITS)),
        "accepted": Q(move=MOVES.index(Move.DONE)),
        "live": Q(supplies_live__gt=0),
        "exceptions": Q(exceptions_stages__gt=0) | Q(exceptions_lines__gt=0) | Q(exceptions_items__gt=0),
    }.get(show, Q())
