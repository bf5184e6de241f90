"""Erases a person everywhere, journals included, and gives a receipt."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from monitor.store import DataFolder, Store
from monitor.store.files.journals import erase_journals, files_of
from monitor.store.people.person_erasure import erase_person
from monitor.store.people.person_export import journal_places

LEFT = (
    "The meaningless uid stays in an empty row and in the audit list, so that it is never given to somebody else; "
    "the audit list also keeps the uids of holds that were corrected. It holds no name and no measurement.",
    "Backups, archives, exports and reports that were made before are elsewhere: delete them by hand.",
)


def erase_everywhere(
    store: Store, folder: DataFolder, uid: str, *, who: str = "command line", version: str = ""
) -> dict[str, Any]:
    """Erase a person from the database and their journals from the disk; return the receipt as plain data.

    The receipt says nothing of the person but the uid. ``left_over`` lists journals that are still there, which is
    empty when everything went well.

    Raises
    ------
    UnknownPerson
    JournalNotErased
        The database is untouched then.
    """
    places = journal_places(store, uid)
    # Journals first: if this is cut off, the person is still known, and erasing once more finds the rest.
    gone = erase_journals(folder, places)
    erased = erase_person(store, uid, who=who)
    left = [str(file.relative_to(folder.root)) for place in places for file in files_of(folder, place)]
    return {
        "what": "receipt of an erasure",
        "person": uid,
        "at_utc": dt.datetime.fromtimestamp(erased.at_utc_ns // 10**9, dt.UTC).isoformat(),
        "by": who,
        "program": version,
        "data_folder": Path(folder.root).name,
        "rows_erased": {name: count for name, count in sorted(erased.rows.items()) if count},
        "journals_erased": gone,
        "left_over": left,
        "sessions": list(LEFT),
    }
