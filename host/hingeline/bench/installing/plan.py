"""What has to be done to a board, and whether it was done: no port, no waiting."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from hingeline.bench.installing.contents import Contents
from hingeline.bench.installing.firmware import FOLDERS, MAIN
from hingeline.errors import BenchError


@dataclass(frozen=True)
class Plan:
    """What has to be done to what is on a board.

    Attributes
    ----------
    copy : dict of str to bytes
        Files to be written, ``main.py`` last.
    remove : list of str
        Files that would be taken for the firmware's, or before them.
    strays : list of str
        Those of them that no file of this firmware has the name of: given up, or somebody's own.
    keep_main : str
        Name under which a ``main.py`` of somebody else's is kept; empty when there is none.
    unchanged : int
        Files that are there already.
    """

    copy: dict[str, bytes]
    remove: list[str]
    strays: list[str]
    keep_main: str
    unchanged: int


def make_plan(files: Mapping[str, bytes], there: Contents) -> Plan:
    """Compare what is to be on a board with what is there."""
    digests = {path: hashlib.sha256(data).hexdigest() for path, data in files.items()}
    differ = [path for path in files if there.digests.get(path) != digests[path]]
    # Of two files with one name the interpreter takes the source before the compiled one.
    remove = sorted(
        path for path in there.digests if path.partition("/")[0] in FOLDERS and path not in files
    )
    stems = {path.rpartition(".")[0] for path in files}
    stems |= {f"{folder}/{name[:-3]}" for folder, names in FOLDERS.items() for name in names}
    strays = [path for path in remove if path.rpartition(".")[0] not in stems]
    keep = _free_name(there.names) if there.other_main else ""
    if (differ or remove) and MAIN not in differ:
        differ.append(MAIN)
    copy = {path: files[path] for path in differ if path != MAIN}
    if differ:
        copy[MAIN] = files[MAIN]
    return Plan(copy, remove, strays, keep, len(files) - len(copy))


def check_whole(files: Mapping[str, bytes], there: Contents, port: str) -> None:
    """Compare the checksum of every file.

    Raises
    ------
    BenchError
        Naming the files that are not as they should be.
    """
    wrong = [
        path
        for path, data in files.items()
        if there.digests.get(path) != hashlib.sha256(data).hexdigest()
    ]
    if wrong:
        raise BenchError(
            f"{port}: {len(wrong)} of {len(files)} files did not arrive whole: "
            f"{', '.join(wrong)}.",
            cause="Their checksums on the board differ from what was sent.",
            mend="The board stays at its prompt. Run the command again; if this comes back, its "
            "store or the cable is damaged.",
        )


def _free_name(names: set[str]) -> str:
    number, name = 1, "main-before.py"
    while name in names:
        number += 1
        name = f"main-before-{number}.py"
    return name
