"""What a person enters later, as the daemon takes it: charges, endings, mould setups, corrections of pours.

    POST /v1/entries    one of `Entry` -> CommandResult, `recorded` after its commit

Each is written whole or not at all; a correction is a new row that names the old one, nothing is altered. Masses in
kg, temperatures degC, times UTC seconds. Records: records/entries; commands: `pourcall melt|mould|pour`.
"""

import msgspec

from pourcall.contract.inputs import MeltEnding

SOUND = "sound"  # said of a casting in the place of a class of defects


class _Entry(
    msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True, tag_field="type"
):
    """Common. `who` is recorded; `why` belongs to a correction."""

    who: str = "shop"
    why: str = ""


class ChargeEntry(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True, forbid_unknown_fields=True):
    """Metal that went into the pot. source: new, returns, scrap. origin: of returns: a melt, or one of its ingots."""

    source: str
    mass_kg: float
    origin: str = ""  # 2026-011, 2026-011-i1
    remelts: int | None = None  # None: carried on from the origin
    detail: str = ""


class ChargeRequest(_Entry, frozen=True, tag="charge"):
    """What a melt was charged with. correcting: the number of the entry that the only one here replaces.

    correcting and no entry: that entry does not hold.
    """

    melt: str
    entries: tuple[ChargeEntry, ...] = ()
    correcting: int = 0


class EndingRequest(_Entry, frozen=True, tag="ending"):
    """How a melt ended, told or corrected after its end. None: stays as it is on record.

    ingots_kg: all ingots in the order of their numbers; heel_kg 0: there is none.
    """

    melt: str
    ending: MeltEnding | None = None
    ingots_kg: tuple[float, ...] | None = None
    heel_kg: float | None = None
    detail: str = ""


class MouldSetupRequest(_Entry, frozen=True, tag="mould_setup"):
    """A mould setup. add: a new one; else another version of a known one: what is None stays as it was."""

    name: str
    add: bool = False
    pattern: str | None = None
    material: str | None = None
    batch: str | None = None  # of the mould material
    gating: str | None = None
    venting: str | None = None
    thinnest_mm: float | None = None
    mass_kg: float | None = None
    preheat_c: float | None = None
    detail: str | None = None


class PourCorrection(_Entry, frozen=True, tag="pour_correction"):
    """What was wrong about a pour. Where its time, lift or mould changes, its temperature is worked out again.

    no_lift: the pot was not lifted before it, or nobody knows when. restore: everything as first marked.
    """

    pour: str
    at_utc_s: float | None = None
    lift_utc_s: float | None = None
    no_lift: bool = False
    mould: str = ""
    not_poured: bool = False
    restore: bool = False


class PourCompletion(_Entry, frozen=True, tag="pour_completion"):
    """What hands that were hot could not tell: mould setup, batch of the mould material, a note, tags."""

    pour: str
    setup: str = ""
    batch: str = ""
    note: str = ""
    tags: tuple[str, ...] = ()


class MeltNote(_Entry, frozen=True, tag="melt_note"):
    """A note or tags for a melt that may be long over."""

    melt: str
    note: str = ""
    tags: tuple[str, ...] = ()


Entry = ChargeRequest | EndingRequest | MouldSetupRequest | PourCorrection | PourCompletion | MeltNote
