"""Passwords that are guessed first."""

import re
from typing import Any

from django.contrib.auth.password_validation import CommonPasswordValidator, UserAttributeSimilarityValidator
from django.core.exceptions import ValidationError

from workshop.models import ShopProfile

TOO_EASY = (
    "This password is a {what} with digits or other characters around it. Such passwords are "
    "guessed first. Use three or four unrelated words."
)
EASY_WORDS = (
    "spring summer autumn fall winter january february march april may june july august september october "
    "november december monday tuesday wednesday thursday friday saturday sunday "
    "motorcycle motorcycles motorbike motorbikes bike bikes garage workshop shop tuning tuner dyno racing "
    "motor moto engine service welcome password login secret"
)
# Common practice, no source: signs that people put in place of letters.
LOOKALIKES = str.maketrans("0134578@$!", "oieastbasi")
DECORATION = re.compile(r"^[\W\d_]+|[\W\d_]+$")
MIN_NAME_CHARS = 3
MAX_EASY_CHARS = 60


def split_words(text: str) -> list[str]:
    return re.findall(r"[^\W\d_]+", text.lower())


class SimilarPasswordValidator(UserAttributeSimilarityValidator):
    """Django's check against the person's name, in the words of this site."""

    def get_help_text(self) -> str:
        return "Your password cannot be similar to your name, username or email address."


class WidelyUsedPasswordValidator(CommonPasswordValidator):
    """Django's check against its list, in the words of this site."""

    def get_help_text(self) -> str:
        return "Your password cannot be one that many people use."


class EasyPasswordValidator:
    """Refuse a season, month, name of the shop or common password that is only decorated."""

    def __init__(self) -> None:
        self.common = CommonPasswordValidator().passwords

    def validate(self, password: str, user: Any = None) -> None:
        """Raise ValidationError with the reason if the password is easy to guess."""
        if self.is_repeated(password.lower()):
            raise ValidationError("This password repeats one short pattern. Use several different words.")
        core = DECORATION.sub("", password.lower())
        if not core:
            raise ValidationError(TOO_EASY.format(what="number"), code="password_too_easy")
        words = {*EASY_WORDS.split(), *self.list_names(user)}
        easy = "|".join(sorted(words, key=len, reverse=True))
        for reading in (core, core.translate(LOOKALIKES)):
            letters = "".join(split_words(reading))
            if letters in self.common:
                what = "common password"
            elif len(letters) <= MAX_EASY_CHARS and re.fullmatch(f"(?:{easy})++", letters):
                what = "season, month, day or name that others know"
            else:
                continue
            raise ValidationError(TOO_EASY.format(what=what), code="password_too_easy")

    def is_repeated(self, password: str) -> bool:
        return re.fullmatch(r"(.{1,4}?)\1{2,}.{0,3}", password, re.DOTALL) is not None

    def list_names(self, user: Any) -> list[str]:
        """List the words of the shop's name and of the person's."""
        parts = [ShopProfile.current().name]
        parts += [str(getattr(user, name, "") or "") for name in ("username", "first_name", "last_name")]
        return [word for part in parts for word in split_words(part) if len(word) >= MIN_NAME_CHARS]

    def get_help_text(self) -> str:
        """Return what a form says beside the box."""
        return "Your password cannot be a season, month or name with digits around it."
