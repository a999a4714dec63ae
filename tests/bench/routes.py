"""Every address of the bench, read from its url conf, and values to fill addresses and forms with."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any

from django import forms
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.resolvers import RegexPattern, RoutePattern

import handsel.bench

BENCH = Path(handsel.bench.__file__).parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """One address with its open places: text and (converter, name) in turn."""

    parts: tuple[str | tuple[str, str], ...]
    view: Callable[..., Any]

    @property
    def name(self) -> str:
        """As a person would write it: h/<code>/look/."""
        return "/" + "".join(p if isinstance(p, str) else f"<{p[1]}>" for p in self.parts)

    @property
    def rights(self) -> tuple[str, ...] | None:
        """What the view asks for; None when it does not say."""
        rights: tuple[str, ...] | None = getattr(self.view, "handsel_rights", None)
        return rights

    @property
    def places(self) -> tuple[tuple[str, str], ...]:
        """The open places."""
        return tuple(p for p in self.parts if not isinstance(p, str))

    def path(self, fill: Callable[[str, str], str]) -> str:
        """The address with its open places filled."""
        return "/" + "".join(p if isinstance(p, str) else fill(*p) for p in self.parts)


@lru_cache(maxsize=1)
def routes() -> tuple[Route, ...]:
    """All of them, those of features that come later too."""
    return tuple(_walk(get_resolver().url_patterns))


def _walk(patterns: list[URLPattern | URLResolver]) -> Iterator[Route]:
    for p in patterns:
        if isinstance(p, URLResolver):
            assert str(p.pattern) == "", "features are included without a prefix"
            yield from _walk(p.url_patterns)
            continue
        assert isinstance(p.pattern, RoutePattern | RegexPattern)
        split = _of_route if isinstance(p.pattern, RoutePattern) else _of_regex
        yield Route(parts=tuple(split(str(p.pattern))), view=p.callback)


def _of_route(route: str) -> Iterator[str | tuple[str, str]]:
    for text, place in re.findall(r"([^<]*)(<[^>]*>)?", route):
        if text:
            yield text
        if place:
            converter, _, name = place.strip("<>").rpartition(":")
            yield (converter or "str", name)


def _of_regex(pattern: str) -> Iterator[str | tuple[str, str]]:
    for text, name in re.findall(r"([^(]*)(?:\(\?P<(\w+)>[^)]*\))?", pattern.strip("^$")):
        if text:
            yield text.replace("\\", "")
        if name:
            yield ("regex", name)


@lru_cache(maxsize=1)
def field_names() -> tuple[str, ...]:
    """Names that forms and views read: of all form classes, and wherever the source asks a request for one."""
    found: set[str] = set()
    for path in sorted(BENCH.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        found |= set(re.findall(r"(?:POST|GET|FILES)(?:\.get|\.getlist)?[(\[]\s*\"(\w+)\"", text))
        found |= set(re.findall(r"\"(\w+)\" (?:not )?in request\.(?:POST|GET|FILES)", text))
        if path.name == "forms.py":
            import_module(f"handsel.bench.{path.parent.name}.forms")
    todo: list[type[forms.BaseForm]] = [forms.Form]
    while todo:
        kind = todo.pop()
        todo += kind.__subclasses__()
        if kind.__module__.startswith("handsel."):
            found |= set(kind.base_fields)
    return tuple(sorted(found))
