"""Queries that are compiled once: to compile one of many columns takes longer than to run it."""

from collections.abc import Mapping, Sequence
from copy import copy
from typing import Any, TypeVar, cast

from django.db import connection, models
from django.db.models.sql import Query
from django.db.models.sql.compiler import SQLCompiler

M = TypeVar("M", bound=models.Model)


class CompiledQuery(Query):
    """A query that runs as it was compiled before."""

    compiled: SQLCompiler
    sql: str
    params: Sequence[Any]
    converters: Any

    def get_compiler(self, *args: Any, **kwargs: Any) -> SQLCompiler:
        compiler = copy(self.compiled)
        vars(compiler).update(
            connection=connection,  # of this thread
            as_sql=lambda *args, **kwargs: (self.sql, self.params),
            get_converters=lambda columns: self.converters,
        )
        return compiler


def compile_query(rows: "models.QuerySet[Any]") -> CompiledQuery:
    """Compile the query of these rows, with placeholders for the values that differ between requests."""
    query = cast("CompiledQuery", rows.query.chain(CompiledQuery))
    query.compiled = rows.query.get_compiler(connection=connection)
    query.sql, query.params = query.compiled.as_sql()
    query.converters = query.compiled.get_converters([column for column, *_ in query.compiled.select])
    return query


def read_rows(model: type[M], query: CompiledQuery, values: Mapping[Any, Any]) -> list[M]:
    """Return the rows that a compiled query finds with these values for its placeholders."""
    query = cast("CompiledQuery", query.chain())
    query.params = fill_in(query.params, values)
    return list(models.QuerySet(model, query))


def fill_in(params: Sequence[Any], values: Mapping[Any, Any]) -> list[Any]:
    return [values.get(param, param) for param in params]
