"""The cautions that go home with a hand, language by language."""

from __future__ import annotations

from functools import lru_cache

from handsel.data.hand_over_words import HandOverWords
from handsel.data.load_hand_over import bundled_languages, load_hand_over


@lru_cache(maxsize=32)
def cautions(language: str) -> HandOverWords:
    """The words in one language; BadFile in words for one that there is not."""
    if language not in bundled_languages():  # never a path from outside
        language = language[:20].replace("/", "").replace("\\", "").replace(".", "") or "-"
    return load_hand_over(language)


def tick_ids(words: HandOverWords) -> tuple[str, ...]:
    """An id for each caution, the same in every language."""
    return tuple(f"{s.id}-{n}" for s in words.sections for n in range(len(s.items)))


@lru_cache(maxsize=1)
def languages() -> tuple[tuple[str, str], ...]:
    """Code and own name of every language, English first."""
    codes = sorted(bundled_languages(), key=lambda c: (c != "en", c))
    return tuple((c, cautions(c).name) for c in codes)
