"""The lead's page about the records: check, back up, take away. And a hand's case file, for anyone signed in."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from django.conf import settings
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from handsel.bench.hands.casebook import case_of, protocol_kept, told_of
from handsel.bench.hands.codes import read_code
from handsel.bench.hands.models import Hand
from handsel.bench.on_disk import said_plainly
from handsel.bench.people.gate import needs
from handsel.bench.records import queries
from handsel.bench.records.backing_up import back_up, default_place
from handsel.bench.records.export_file import write_zip
from handsel.bench.records.roots import typed_root
from handsel.bench.records.verifying import LIMITS, NOT_COVERED, verify
from handsel.data.case_text import case_text
from handsel.errors import HandselError

AGAIN_S = 20  # a second tap on the same button is no second backup


class ForTheCommandLine(HandselError):
    """Too much for a page."""

    status = 409


@needs("lead")
@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """What there is, when it was last backed up, and what can be done about it."""
    return render(request, "records/page.html", {"records": queries.overview()})


@needs("lead")
@require_safe
def check(request: HttpRequest) -> HttpResponse:
    """Verify, and show what was found."""
    told = {"limits": LIMITS, "not_covered": NOT_COVERED, "typed": request.GET.get("root", "")[:100]}
    records = queries.overview()
    if not records.checks_inline:
        return render(request, "records/check.html", told | {"records": records})
    wrong = ""
    try:
        root = typed_root(told["typed"]) if told["typed"].strip() else ""
    except HandselError as error:
        root, wrong = "", f"{error.what[:1].upper()}{error.what[1:]}. {error.do}"
    return render(request, "records/check.html", told | {"found": verify(root=root), "wrong": wrong})


@needs("lead")
@require_POST
def backup(request: HttpRequest) -> HttpResponse:
    """Make a backup into the folder; tapped twice, one is made."""
    records = queries.overview()
    if not records.is_small:
        do = "In a terminal on this computer: handsel backup --to the other disk. The bench may go on meanwhile."
        raise ForTheCommandLine("there is too much on record for a page to copy", where="backup", do=do)
    now = timezone.localtime()
    if not records.backups or (now - records.backups[0].made_at).total_seconds() > AGAIN_S:
        back_up(default_place(now), at=now)
    return HttpResponse(status=303, headers={"Location": reverse("records")})


@needs("lead")
@require_safe
def backup_file(request: HttpRequest, name: str) -> HttpResponseBase:
    """One of the backups, to be put on another disk."""
    path = queries.backups_folder() / name
    if not queries.BACKUP_NAME.fullmatch(name) or not path.is_file():
        raise Http404
    return FileResponse(path.open("rb"), as_attachment=True, filename=name, content_type="application/zip")


@needs("lead")
@require_safe
def export(request: HttpRequest) -> HttpResponseBase:
    """Everything on record as a zip, written once and then sent a piece at a time."""
    with said_plainly("the export"):
        folder = Path(settings.DATA)
        handle, name = tempfile.mkstemp(prefix=".export-", suffix=".zip", dir=folder)
        os.close(handle)
        path = Path(name)
        try:
            write_zip(path, with_photos="photos" in request.GET)
            file = path.open("rb")
        finally:
            # Where an open file keeps its content without a name, nothing is left behind even by a crash.
            if os.name != "nt":
                path.unlink()
    name = f"handsel-export-{timezone.localtime():%Y-%m-%d-%H%M}.zip"
    response = FileResponse(file, as_attachment=True, filename=name, content_type="application/zip")
    if os.name == "nt":
        response._resource_closers.append(lambda: path.unlink(missing_ok=True))
    return response


@needs("anyone")
@require_safe
def case_file(request: HttpRequest, code: str) -> HttpResponse:
    """A hand as a case file, for `handsel assess` on any computer."""
    hand = get_object_or_404(Hand.objects.select_related("design"), code=read_code(code))
    text = case_text(case_of(hand, told_of(hand)), protocol_kept(hand.protocol_id))
    response = HttpResponse(text, content_type="application/toml; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{hand.code}.toml"'
    return response
