"""`pourcall pour photo`. Photos of castings onto the record: named one by one, or a folder matched by time.

Written straight to the file, also beside a running daemon: the write-ahead log keeps two writers apart, the row is one
short transaction of its own, and the daemon's writer tries again where it has to wait. The file comes first, then its
row: a row never names a photo that is not there.
"""

import argparse
import sqlite3
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourcall.cli.common import add_json, local_time, our_paths, print_json
from pourcall.cli.parser import option
from pourcall.contract.errors import BadInput, NotFound
from pourcall.contract.message import Told, tell
from pourcall.contract.quantities import days
from pourcall.texts import say

if TYPE_CHECKING:
    from pourcall.records.entries.photos import Photo
    from pourcall.records.read.views import PourRow

WITHIN = "3d"
_DAY_S = 86_400.0


def add_arguments(subs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """The sub-command of `pour`."""
    photo = subs.add_parser("photo", help=option("photos.photo"))
    photo.add_argument("pour", nargs="?", default="", help=option("photos.photo.pour"))
    photo.add_argument("files", nargs="*", type=Path, metavar="FILE", help=option("photos.photo.files"))
    photo.add_argument("--folder", type=Path, default=None, metavar="DIR", help=option("photos.photo.folder"))
    photo.add_argument("--within", default=WITHIN, metavar=WITHIN, help=option("photos.photo.within", typed=WITHIN))
    photo.add_argument("--dry-run", action="store_true", help=option("photos.photo.dry_run"))
    photo.add_argument("--caption", default="", help=option("photos.photo.caption"))
    photo.add_argument("--who", default="shop", help=option("photos.photo.who"))
    add_json(photo)


def run(args: argparse.Namespace) -> int:
    """Look at every file first, then write."""
    from pourcall.records.entries.photos import look_at
    from pourcall.records.read.store import Store

    with Store.read(our_paths().database) as store:
        if args.folder is not None:
            if args.pour:
                raise BadInput(tell("usage.photo.both"), remedy=tell("usage.photo.both.remedy"))
            found = _matched(args, store.pours(limit=-1))
        else:
            if not args.pour or not args.files:
                raise BadInput(tell("usage.photo.none"), remedy=tell("usage.photo.none.remedy"))
            row = store.pour(args.pour).row
            found = [(look_at(path), row.melt, row.number) for path in args.files]
    told = [_put(args, photo, melt, number) for photo, melt, number in found]
    if args.json:
        print_json(told)
        return 0
    for one in told:
        where = one["pour"] or say(tell("cli.photo.whole_melt", melt=one["melt"]))
        taken = tell("cli.photo.taken" if one["exif"] else "cli.photo.file_of", at=one["taken"])
        print(f"{one['file']}: {where}, {say(taken)}; {one['what']}")
    if args.folder is not None and not told:
        print(say(tell("cli.photo.none_belongs", folder=str(args.folder))))
    return 0


def _matched(args: argparse.Namespace, pours: "Sequence[PourRow]") -> "list[tuple[Photo, str, int | None]]":
    """Photos of a folder with the pour or melt of each; what is no image or belongs nowhere is told and left."""
    from pourcall.records.entries.photos import belongs_to, look_at, pour_in_name

    within_days = days(args.within, where="--within")
    if not args.folder.is_dir():
        raise NotFound(
            tell("usage.photo.no_folder"), where=str(args.folder), remedy=tell("usage.photo.no_folder.remedy")
        )
    numbers = {row.pour: row for row in pours}
    found: list[tuple[Photo, str, int | None]] = []
    for path in sorted(path for path in args.folder.iterdir() if path.is_file() and not path.name.startswith(".")):
        try:
            photo = look_at(path)
        except BadInput as err:
            _left_out(path, err.what)
            continue
        number = pour_in_name(path.name)
        if number:
            if number in numbers:
                found.append((photo, numbers[number].melt, numbers[number].number))
            else:
                _left_out(path, tell("cli.photo.no_such_pour", pour=number))
            continue
        place = belongs_to(pours, photo.taken_utc_s, within_s=within_days * _DAY_S)
        if place is None:
            taken = local_time(photo.taken_utc_s)
            _left_out(path, tell("cli.photo.no_pour_before", days=within_days, at=taken))
        else:
            found.append((photo, *place))
    return found


def _left_out(path: Path, why: Told) -> None:
    print(say(tell("cli.photo.left_out", file=path.name, why=why)), file=sys.stderr)


def _put(args: argparse.Namespace, photo: "Photo", melt: str, number: int | None) -> dict[str, Any]:
    """One photo: its file under its hash, then its row."""
    from pourcall.daemon.clock import RealClock
    from pourcall.records.entries.calibrations import write_aside
    from pourcall.records.entries.entries import add_photo, store_photo_file

    told: dict[str, Any] = {
        "file": str(photo.path),
        "melt": melt,
        "pour": "" if number is None else f"{melt}-{number}",
        "taken": local_time(photo.taken_utc_s),
        "exif": photo.by_exif,
        "what": say(tell("cli.photo.would_be_recorded")),
    }
    if args.dry_run:
        return told
    paths = our_paths()
    digest, suffix, size = store_photo_file(paths.photos, photo.path, photo.suffix)

    def write(conn: sqlite3.Connection) -> str:
        known = conn.execute(
            "SELECT 1 FROM photos p JOIN melts m ON m.id = p.melt_id"
            " WHERE p.hash = ? AND m.melt = ? AND p.pour_number IS ?",
            (digest, melt, number),
        ).fetchone()
        if known is not None:
            return say(tell("cli.photo.known"))
        add_photo(
            conn,
            melt,
            digest,
            suffix,
            size,
            who=args.who,
            utc_s=photo.taken_utc_s,
            pour_number=number,
            caption=args.caption,
        )
        return say(tell("cli.photo.recorded"))

    return {**told, "what": write_aside(paths.database, write, utc_s=RealClock().utc_s()), "hash": digest}
