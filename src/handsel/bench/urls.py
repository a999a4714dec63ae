"""All addresses of the bench; each feature lists its own."""

from __future__ import annotations

from django.urls import include, path

FEATURES = (
    "people", "days", "hands", "looking", "work", "deciding", "fitting", "photos", "measuring", "papers",
    "records", "ready", "causes", "planning",
)  # fmt: skip

urlpatterns = [path("", include(f"handsel.bench.{feature}.urls")) for feature in FEATURES]

handler400 = "handsel.bench.plain_errors.bad_request"
handler403 = "handsel.bench.plain_errors.forbidden"
handler404 = "handsel.bench.plain_errors.not_found"
handler500 = "handsel.bench.plain_errors.broken"
