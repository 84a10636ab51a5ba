"""Parts and other changes on the bike, from all its jobs, without what was taken off or undone again."""

from collections.abc import Iterable, Iterator, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.job.results import JobResults
from jobs.job.road_use import RoadCause
from jobs.models import BikeChange, Part, PartKind, Stage

Item = Part | BikeChange
RoadUse = PartKind.RoadUse

RACE_ONLY = gettext_noop("Marked for race use only: it may not be allowed on public roads.")
NOT_FITTED = gettext_noop("listed, not marked as fitted")


def items_on_bike(results: JobResults) -> list[Item]:
    """Return what is on the bike now, in order of time; parts that are only listed come last."""
    items: list[Item] = [*results.bike_rows(Part), *results.bike_rows(BikeChange)]
    removed = {(type(gone), gone.pk) for gone in removed_items(items)}
    left = [item for item in items if (type(item), item.pk) not in removed and not is_dropped(item)]
    return sorted(left, key=lambda item: (item.at is None, item.at or item.created_at, item.pk))


def removed_items(items: Sequence[Item]) -> Iterator[Item]:
    """Yield what a later part or change took off; a part that lies on the shelf takes nothing off."""
    found = {(type(item), item.pk): item for item in items}
    for item in items:
        for gone in (
            found.get((Part, item.removes_part_id or 0)),
            found.get((BikeChange, item.removes_change_id or 0)),
        ):
            if gone is not None and can_remove(item, gone):
                yield gone


def can_remove(item: Item, gone: Item) -> bool:
    """Return True if an item is on the bike since the time of another, or later."""
    return item.at is not None and gone.at is not None and item.at >= gone.at


def item_key(model: type[Item], pk: int) -> str:
    return f"{model.__name__} {pk}"


def taken_off_keys(item: Item) -> frozenset[str]:
    """Return the keys of what an item took off or undid."""
    gone = ((Part, item.removes_part_id), (BikeChange, item.removes_change_id))
    return frozenset(item_key(model, pk) for model, pk in gone if pk)


def is_return(item: Item) -> bool:
    """Return True if an item only brings the bike back to what it was before what it took off."""
    if isinstance(item, BikeChange):
        return bool(item.removes_part_id or item.removes_change_id)
    replaced = item.removes_part.replaces if item.removes_part else ""
    return bool(replaced) and replaced.casefold() == item.name.casefold()


def kept_key(item: Item) -> str:
    """Return the key of an item that is on the bike from its time on; empty if it is a mere return."""
    return "" if is_return(item) else item_key(type(item), item.pk)


def is_dropped(item: Item) -> bool:
    """Return True for a part that was never fitted in a job that was cancelled."""
    return item.at is None and item.job.stage == Stage.CANCELLED


def part_causes(results: JobResults) -> list[RoadCause]:
    return [*find_causes(item for item in results.get(items_on_bike) if isinstance(item, Part))]


def change_causes(results: JobResults) -> list[RoadCause]:
    return [*find_causes(item for item in results.get(items_on_bike) if isinstance(item, BikeChange))]


def find_causes(items: Iterable[Item]) -> Iterator[RoadCause]:
    """Yield a cause for each item whose kind or marking may matter on the road."""
    for item in items:
        kind = item.kind
        marked = isinstance(item, Part) and item.race_only
        affects = kind is not None and kind.affects_road_use
        if not marked and not affects:
            continue
        effects = [RACE_ONLY if marked else "", kind.road_use_effect if kind is not None and affects else ""]
        yield RoadCause(
            subject=describe_item(item),
            effect=" ".join(_(effect) for effect in effects if effect),
            job=item.job,
            at=item.at,
            race_only=marked or (kind is not None and kind.road_use == RoadUse.RACE),
            inform=marked or (kind is not None and kind.inform),
            approval=item.approval,
        )


def describe_item(item: Item) -> str:
    """Return a part or change with its kind, as in 'Slip-on (silencer)'."""
    kind = (
        f" ({_(item.kind.name)})" if item.kind and item.kind.name.casefold() != str(item).casefold() else ""
    )
    return f"{item}{kind}" + (f", {_(NOT_FITTED)}" if item.at is None else "")


def describe_choice(item: Item) -> str:
    """Return an item as a choice in a form, with its job."""
    return f"{describe_item(item)}, job {item.job.number}"


def describe_removed(item: Item) -> str:
    """Return what an item took off or undid; empty if nothing."""
    gone = [str(other) for other in (item.removes_part, item.removes_change) if other is not None]
    return _("%(first)s and %(last)s") % {"first": gone[0], "last": gone[1]} if gone[1:] else "".join(gone)
