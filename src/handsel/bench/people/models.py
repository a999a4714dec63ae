"""Who works at a build day: a first name or a number, and what they may do. Nothing else is kept of them."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models


class People(BaseUserManager["Person"]):
    """Persons, each with the next free number."""

    def get_by_natural_key(self, username: str | None) -> Person:
        return self.get(number=username)


class Person(AbstractBaseUser):
    """One helper. Records carry role and number ("inspector 3"); the name stays here and can be cleared."""

    number = models.PositiveIntegerField(unique=True)
    name = models.CharField(max_length=40, blank=True)
    is_lead = models.BooleanField(default=False)
    may_inspect = models.BooleanField(default=False)
    may_build = models.BooleanField(default=False)
    may_fit = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField()
    practised_at = models.DateTimeField(null=True)  # first finished practice hand
    joined_by = models.CharField(max_length=64, unique=True, null=True)  # client id of the join form
    wrong_count = models.PositiveSmallIntegerField(default=0)  # wrong tries at this person's secret, in a row

    objects: People = People()

    USERNAME_FIELD = "number"
    REQUIRED_FIELDS: list[str] = []

    class Meta:
        ordering = ("number",)

    def __str__(self) -> str:
        return self.shown

    @property
    def role(self) -> str:
        """The word that records use for this person."""
        words = (
            (self.is_lead, "lead"),
            (self.may_fit, "fitter"),
            (self.may_inspect, "inspector"),
            (self.may_build, "builder"),
        )
        return next((word for has, word in words if has), "maker")

    @property
    def has_secret(self) -> bool:
        """Whether this person has a passphrase (a lead) or a number (a fitter)."""
        return (self.is_lead or self.may_fit) and self.has_usable_password()

    @property
    def called(self) -> str:
        """Role and number, as records say it: never a name."""
        return f"{self.role} {self.number}"

    @property
    def shown(self) -> str:
        """What the others in the hall read: the first name where there is one."""
        return self.name or self.called

    def may(self, what: str) -> bool:
        """Whether this person may do what a page asks for: lead, inspect, build, fit, or anyone."""
        if not self.is_active:
            return False
        if what == "anyone" or self.is_lead:
            return True
        rights = {"inspect": self.may_inspect, "build": self.may_build, "fit": self.may_fit}
        return rights.get(what, False)


class JoinPass(models.Model):
    """A short-lived invitation that the lead shows as a QR code; only its fingerprint is kept."""

    token_sha256 = models.CharField(max_length=64, unique=True)
    is_lead = models.BooleanField(default=False)
    may_inspect = models.BooleanField(default=False)
    may_build = models.BooleanField(default=False)
    may_fit = models.BooleanField(default=False)
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("-made_at",)

    def __str__(self) -> str:
        return f"join pass until {self.expires_at:%H:%M}"

    def flags(self) -> dict[str, Any]:
        """The rights it hands out."""
        return {k: getattr(self, k) for k in ("is_lead", "may_inspect", "may_build", "may_fit")}
