"""Join passes: short-lived invitations that the lead shows as a QR code."""

from __future__ import annotations

import secrets
from datetime import timedelta
from hashlib import sha256

from django.utils import timezone

from handsel.bench.hands.codes import SIGNS
from handsel.bench.people.models import JoinPass, Person
from handsel.errors import HandselError

LASTS = timedelta(minutes=10)
TOKEN_LENGTH = 10  # 48 bits for ten minutes, and short enough to type where a camera fails
ROLES = {
    "build": {"may_build": True},
    "inspect": {"may_inspect": True},
    "both": {"may_build": True, "may_inspect": True},
    "fit": {"may_fit": True},
    "lead": {"is_lead": True, "may_build": True, "may_inspect": True, "may_fit": True},
}


class PassEnded(HandselError):
    """A join code that is unknown, ended or too old: the three are not told apart."""

    status = 404


def new_pass(role: str, *, by: Person) -> tuple[JoinPass, str]:
    """A pass and its token; only the token's fingerprint is kept."""
    if role not in ROLES:
        raise HandselError(
            "there is no such role", where="the join code", do="Choose one of the roles shown."
        )
    token = "".join(secrets.choice(SIGNS) for _ in range(TOKEN_LENGTH))
    now = timezone.now()
    made = JoinPass.objects.create(
        token_sha256=_fingerprint(token), made_by=by, made_at=now, expires_at=now + LASTS, **ROLES[role]
    )
    return made, token


def open_pass(token: str) -> JoinPass:
    """The pass of a token, if it still lets people in."""
    found = JoinPass.objects.filter(token_sha256=_fingerprint(token)).select_related("made_by").first()
    now = timezone.now()
    if (
        found is None
        or found.ended_at is not None
        or found.expires_at <= now
        or not found.made_by.may("lead")
    ):
        raise PassEnded(
            "this join code no longer counts",
            where="joining",
            do="Ask the lead for a new one: they last ten minutes.",
        )
    return found


def renew(given: JoinPass) -> None:
    """Ten more minutes from now, for one that has not been ended."""
    if given.ended_at is None:
        given.expires_at = timezone.now() + LASTS
        given.save(update_fields=["expires_at"])


def end(given: JoinPass) -> None:
    """No longer let anybody in."""
    if given.ended_at is None:
        given.ended_at = timezone.now()
        given.save(update_fields=["ended_at"])


def cleaned(token: str) -> str:
    """A token as typed: spaces and dashes do not count, nor does its case."""
    return "".join(c for c in token.upper() if c.isalnum())[:40]


def _fingerprint(token: str) -> str:
    return sha256(cleaned(token).encode()).hexdigest()
