"""What is derived from the rows of a job, each fact once."""

from collections.abc import Callable
from typing import Any, TypeVar, cast

from django.db import models

from jobs.job.page import JobPage, load_page
from jobs.models import Job
from workshop.models import ShopProfile

M = TypeVar("M", bound=models.Model)
T = TypeVar("T")


class JobResults:
    """The rows of a job and everything derived from them, for page, sheet and documents alike.

    A fact is a function of the results, written beside the rules of its record; ``get`` computes it
    at the first request and returns the same value from then on.
    """

    def __init__(self, page: JobPage, shop: ShopProfile) -> None:
        self.page = page
        self.shop = shop
        self._facts: dict[Callable[[JobResults], Any], Any] = {}

    @property
    def job(self) -> Job:
        return self.page.job

    def rows(self, model: type[M]) -> list[M]:
        """Return the job's rows of a model."""
        return self.page.rows(model)

    def bike_rows(self, model: type[M]) -> list[M]:
        """Return the rows of a model from all jobs of the bike: those of the others first."""
        return [*self.page.carried_rows(model), *self.page.rows(model)]

    def fresh(self) -> "JobResults":
        """Return results of the same rows from which nothing is derived yet."""
        return JobResults(self.page, self.shop)

    def get(self, derive: "Callable[[JobResults], T]") -> T:
        """Return a derived fact, computed once."""
        if derive not in self._facts:
            self._facts[derive] = derive(self)
        return cast("T", self._facts[derive])

    def keep(self, derive: "Callable[[JobResults], T]", value: "T") -> "T":
        """Keep a fact that was derived from the same rows before, so that they need not be read."""
        self._facts[derive] = value
        return value


def load_job_results(job: Job, shop: ShopProfile) -> JobResults:
    """Return fresh results of a job."""
    return JobResults(load_page(job), shop)
