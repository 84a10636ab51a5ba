"""The stored rows of one customer, current and past, found by the keys in rows and in their history."""

from typing import Any, cast

from django.db import models

from workshop.models import Customer
from workshop.privacy.held_data import declared_models
from workshop.privacy.merge import merged_ids

Model = type[models.Model]


def row_model(row: Any) -> Model:
    """Return the model of a row, also of a history row."""
    model: Model = getattr(row, "instance_type", type(row))
    return model


def history_manager(model: Model) -> Any:
    return cast("Any", model).history  # which simple_history adds


class Ownership:
    """Rows that belong or once belonged to a customer, or to an entry merged into theirs.

    Deleted records are included: their history still says which bike or job they belonged to.
    Records of the whole shop belong to every customer.
    """

    def __init__(self, customer: Customer) -> None:
        self.customer_ids = {customer.pk, *merged_ids(customer)}
        self.declared = declared_models()
        self._labels: dict[Model, dict[Any, str]] = {}

    def current_rows(self, model: Model) -> "models.QuerySet[Any]":
        return self._owned(model, model._base_manager.order_by("pk"))

    def past_rows(self, model: Model) -> "models.QuerySet[Any]":
        """Return the history rows, the latest first."""
        return self._owned(model, history_manager(model).order_by("-history_id"))

    def describes_customer(self, row: Any) -> bool:
        """Return True if a row describes this customer; a sold bike describes its present owner."""
        parent = self._parent(row_model(row))
        if parent is None or parent.related_model is not Customer:
            return True
        return getattr(row, parent.attname) in self.customer_ids

    def label(self, row: Any) -> str:
        """Return the kind of record and the bike or job it belongs to, such as "part, job 2026-001"."""
        model = row_model(row)
        parent = self._parent(model)
        if parent is None:
            return labelled(row)
        if parent.related_model is Customer:
            return self._labels_by_pk(model)[getattr(row, model._meta.pk.attname)]
        belongs_to = self._labels_by_pk(parent.related_model)[getattr(row, parent.attname)]
        return f"{model._meta.verbose_name}, {belongs_to}"

    def _parent(self, model: Model) -> Any:
        """Return the foreign key that leads to the customer, or None if the lookup starts with none."""
        lookup = self.declared[model].customer
        return model._meta.get_field(lookup.split("__")[0]) if lookup not in ("", "pk") else None

    def _owned(self, model: Model, rows: "models.QuerySet[Any]") -> "models.QuerySet[Any]":
        if model is Customer:
            return rows.filter(id__in=self.customer_ids)
        parent = self._parent(model)
        if parent is None:
            return rows
        if parent.related_model is Customer:
            return rows.filter(**{f"{model._meta.pk.attname}__in": list(self._labels_by_pk(model))})
        return rows.filter(**{f"{parent.attname}__in": list(self._labels_by_pk(parent.related_model))})

    def _labels_by_pk(self, model: Model) -> dict[Any, str]:
        """Return the label of the bike or job of each of the customer's records of a model, by key."""
        if model not in self._labels:
            self._labels[model] = self._find_labels(model)
        return self._labels[model]

    def _find_labels(self, model: Model) -> dict[Any, str]:
        parent, key = self._parent(model), model._meta.pk.attname
        stored = (history_manager(model), model._base_manager)
        if parent.related_model is Customer:
            own = {f"{parent.attname}__in": list(self.customer_ids)}
            return {getattr(row, key): labelled(row) for rows in stored for row in rows.filter(**own)}
        parents = self._labels_by_pk(parent.related_model)
        own = {f"{parent.attname}__in": list(parents)}
        found = (pair for rows in stored for pair in rows.filter(**own).values_list(key, parent.attname))
        return {pk: parents[parent_pk] for pk, parent_pk in found}


def labelled(row: Any) -> str:
    """Return the kind and the name of a record, from its row or a history row."""
    return f"{row_model(row)._meta.verbose_name} {getattr(row, 'instance', row)}"
