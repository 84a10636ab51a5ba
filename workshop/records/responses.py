"""How views answer: a form shown (again), a sentence that something was saved."""

from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render

LONGEST_KEY = 19  # of figures, beyond which no database counts


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, or None where the form is only asked for; an empty sending is one too."""
    return request.POST if request.method == "POST" else None


def render_form(request: HttpRequest, template: str, form: BaseForm, **context: Any) -> HttpResponse:
    """The page of a form; 422 where it was sent and something has to be put right."""
    return render(request, template, {"form": form, **context}, status=422 if form.is_bound else 200)


def say_saved(request: HttpRequest, sentence: str, draft: str = "") -> None:
    """Tell the person, and let the browser drop what it kept under the form's data-draft."""
    messages.success(request, sentence, extra_tags=f"draft-saved {draft}" if draft else "")


def key_sent(text: str) -> int:
    """A record's key as an address or a form sends it; 0, which no record has, where it can be none."""
    return int(text) if text.isdecimal() and len(text) < LONGEST_KEY else 0
