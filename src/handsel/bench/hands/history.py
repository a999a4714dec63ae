"""A hand's history for reading: newest first, by hold point, a run of answers of one person as one line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.html import format_html_join
from django.utils.safestring import SafeString, mark_safe

from handsel.bench.hands.casebook import Told, out_of_force
from handsel.bench.hands.words import as_it_should_be, entry_words, hold_point_title
from handsel.inspection.protocol import Protocol

LOOKS = ("observed", "as-shown")
_STANDS = mark_safe("<li>")
_GONE = mark_safe('<li class="is-withdrawn"><span class="unseen">(taken back) </span>')


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the history."""

    seq: int
    when: str
    who: str
    words: str
    is_withdrawn: bool = False
    thumbs: tuple[str, ...] = ()  # addresses of small pictures
    inner: SafeString | str = ""  # what a run of answers holds, as list items


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """What happened at one hold point."""

    title: str
    lines: tuple[Line, ...]
    is_open: bool
    count: int


def history(
    told: Iterable[Told], protocol: Protocol, thumbs: Mapping[str, str], today: str
) -> tuple[Chapter, ...]:
    """All chapters, the newest first. `thumbs` leads from a photo's id to its small picture."""
    told = tuple(told)
    gone = out_of_force(told)
    chapters: list[tuple[str, list[list[Told]]]] = []
    here = protocol.hold_points[0].id
    for t in told:
        if not chapters or chapters[-1][0] != here:
            chapters.append((here, []))
        runs = chapters[-1][1]
        last = runs[-1][-1] if runs else None
        if (
            t.kind in LOOKS
            and last is not None
            and last.kind in LOOKS
            and (last.by, last.is_for_causes) == (t.by, t.is_for_causes)
        ):
            runs[-1].append(t)
        else:
            runs.append([t])
        if t.kind == "decided" and t.what["whole"] == "release" and t.what["next_hold_point"]:
            here = t.what["next_hold_point"]
    newest = len(chapters) - 1
    return tuple(
        Chapter(
            title=hold_point_title(id, protocol),
            lines=tuple(_line(run, protocol, gone, thumbs, today) for run in reversed(runs)),
            is_open=n == newest,
            count=sum(len(run) for run in runs),
        )
        for n, (id, runs) in reversed(list(enumerate(chapters)))
    )


def _line(
    run: list[Told], protocol: Protocol, gone: frozenset[int], thumbs: Mapping[str, str], today: str
) -> Line:
    last = run[-1]
    if len(run) == 1:
        return Line(
            seq=last.seq,
            when=when_words(last.at, today),
            who=last.by["called"],
            words=entry_words(last, protocol),
            is_withdrawn=last.seq in gone,
            thumbs=_thumbs(last, thumbs),
        )
    wrong = [
        t for t in run if t.kind == "observed" and t.seq not in gone and not as_it_should_be(t.what, protocol)
    ]
    but = f", {len(wrong)} not as {'it' if len(wrong) == 1 else 'they'} should be" if wrong else ""
    return Line(
        seq=last.seq,
        when=when_words(last.at, today),
        who=last.by["called"],
        words=f"Looked at {len(run)} things to find the cause"
        if last.is_for_causes
        else f"Looked at {len(run)} things{but}",
        thumbs=tuple(dict.fromkeys(url for t in run for url in _thumbs(t, thumbs))),
        inner=_items(run, protocol, gone),
    )


def _items(run: Iterable[Told], protocol: Protocol, gone: frozenset[int]) -> SafeString:
    """The answers of a run as list items. Written here, since a hand has a hundred and a template takes its time."""
    words = ((entry_words(t, protocol), t.seq in gone) for t in run)
    return format_html_join("", "{}{}</li>", ((_GONE if is_gone else _STANDS, w) for w, is_gone in words))


def _thumbs(t: Told, thumbs: Mapping[str, str]) -> tuple[str, ...]:
    photo = t.what.get("photo")
    return (thumbs[photo],) if isinstance(photo, str) and photo in thumbs else ()


def when_words(at: str, today: str) -> str:
    """A moment of the record in the hall's own clock; the date only where it is another day's."""
    local = timezone.localtime(datetime.fromisoformat(at))
    return f"{local:%H:%M}" if f"{local:%Y-%m-%d}" == today else f"{local.day} {local:%b %H:%M}"
