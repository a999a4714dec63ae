"""Entries are never changed and never deleted, and the database itself refuses both."""

from __future__ import annotations

from typing import Any

_REFUSAL = "entries are append-only"

_SQLITE = {
    "on": [
        f"CREATE TRIGGER IF NOT EXISTS entry_no_{verb.lower()} BEFORE {verb} ON hands_entry "
        f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        for verb in ("UPDATE", "DELETE")
    ],
    "off": ["DROP TRIGGER IF EXISTS entry_no_update", "DROP TRIGGER IF EXISTS entry_no_delete"],
}
_POSTGRESQL = {
    "on": [
        "CREATE OR REPLACE FUNCTION entry_refuse() RETURNS trigger AS $$ "
        f"BEGIN RAISE EXCEPTION '{_REFUSAL}'; END; $$ LANGUAGE plpgsql",
        "DROP TRIGGER IF EXISTS entry_no_change ON hands_entry",
        "CREATE TRIGGER entry_no_change BEFORE UPDATE OR DELETE ON hands_entry "
        "FOR EACH ROW EXECUTE FUNCTION entry_refuse()",
    ],
    "off": ["DROP TRIGGER IF EXISTS entry_no_change ON hands_entry"],
}


def statements(vendor: str, which: str) -> list[str]:
    """What turns the refusal "on" or "off" in this kind of database."""
    return {"sqlite": _SQLITE, "postgresql": _POSTGRESQL}[vendor][which]


def switch(editor: Any, which: str) -> None:
    """Turn the refusal "on" or "off" (only a migration back and the clearing of a test database turn it off)."""
    for statement in statements(editor.connection.vendor, which):
        editor.execute(statement)
