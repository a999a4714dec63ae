"""Makes restored records ready for this version and verifies them, in a process of its own.

python -m handsel.bench.records.bringing_up FOLDER
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from handsel.errors import HandselError


def main(folder: Path) -> None:
    """Print what was found as JSON, or why these records cannot be used."""
    from handsel.bench.serve import ready_records, set_up

    set_up(folder)
    from django.db import connections

    from handsel.bench.commands.verify import as_data
    from handsel.bench.records.backup_file import RECORDS
    from handsel.bench.records.importing import import_records
    from handsel.bench.records.verifying import verify

    try:
        ready_records()
        records = folder / RECORDS
        if records.exists():
            import_records(records)
            records.unlink()
        told = as_data(verify())
    except HandselError as error:
        told = {"refused": error.what, "do": error.do}
    connections.close_all()
    sys.stdout.write(json.dumps(told))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
