from __future__ import annotations

from django.urls import URLPattern, path

from handsel.bench.records import views

urlpatterns: list[URLPattern] = [
    path("records/", views.page, name="records"),
    path("records/check/", views.check, name="records-check"),
    path("records/backup/", views.backup, name="records-backup"),
    path("records/backups/<str:name>", views.backup_file, name="records-backup-file"),
    path("records/export.zip", views.export, name="records-export"),
    path("h/<str:code>/case.toml", views.case_file, name="case-file"),
]
