"""Occupational exposure limits, each with its region, its body and its date. They are law or guidance and they change.

Figures in mg/m3 of air. `kind`: "8 h" time-weighted average, "15 min" short-term, "ceiling", "idlh" (immediately
dangerous). The text of a limit always shows whose it is and of when; none of them is a no-effect level. Where a region
has no figure of its own the next one counts (Germany: that of the EU), and last the strictest of all. Where a row says
`sourced`, the figure was read in the document named; `memory`: not, look it up before you rely on it.
"""

import msgspec

from pourcall.contract.errors import NotFound
from pourcall.contract.message import Message, tell
from pourcall.contract.settings import AirLimits


class ExposureLimit(msgspec.Struct, frozen=True):
    """One limit of one body."""

    substance: str
    kind: str
    mg_per_m3: float
    region: AirLimits
    body: str
    jurisdiction: str
    dated: str
    mark: str  # sourced, memory

    def told(self) -> Message:
        """The limit with whose it is and of when."""
        return tell(
            "fume.limit",
            amount=self.mg_per_m3,
            kind=self.kind,
            body=self.body,
            jurisdiction=self.jurisdiction,
            dated=self.dated,
        )


_OSHA: tuple[AirLimits, str, str] = ("us", "OSHA PEL", "US law")
_NIOSH: tuple[AirLimits, str, str] = ("us", "NIOSH REL", "US guidance")
_ACGIH: tuple[AirLimits, str, str] = ("us", "ACGIH TLV", "guidance")
_ONT: tuple[AirLimits, str, str] = ("canada", "Ontario table", "Ontario")
_EU: tuple[AirLimits, str, str] = ("eu", "EU limit value", "EU law")
_UK: tuple[AirLimits, str, str] = ("uk", "WEL", "UK law")
_MAK: tuple[AirLimits, str, str] = ("germany", "DFG MAK", "German guidance")
_TRGS: tuple[AirLimits, str, str] = ("germany", "TRGS 900", "German law")
_UNDATED = "undated, read 2026-11"
_DATA_SHEET = "in a maker's safety data sheet, undated"
_MANGANESE = "sampling page of 2009-01"
_IDLH = "1994-05"  # the NIOSH pages on immediately dangerous concentrations, which list the limits of their day
_CMRD = "Directive 2004/37/EC as amended, Annex III"
_EH40 = "EH40/2005, 2020 edition, from memory"
_EH40_ALARMS = "EH40/2005, 2020 edition, at second hand"
_EH40_2018 = "EH40/2005, 2018 edition, in a Dutch overview"

LIMITS: tuple[ExposureLimit, ...] = (
    ExposureLimit("zinc oxide fume", "8 h", 5.0, *_OSHA, "sampling page of 2008", "sourced"),
    ExposureLimit("zinc oxide fume", "8 h", 5.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "15 min", 10.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "8 h", 2.0, *_ACGIH, "2001, respirable, in the sampling page of 2012", "sourced"),
    ExposureLimit(
        "zinc oxide fume", "15 min", 10.0, *_ACGIH, "2001, respirable, in the sampling page of 2012", "sourced"
    ),
    ExposureLimit("zinc oxide fume", "8 h", 2.0, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "15 min", 10.0, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide fume", "8 h", 0.1, *_MAK, "2009, as zinc, respirable, in IFA Report 6/2013", "sourced"),
    ExposureLimit("zinc oxide fume", "15 min", 0.4, *_MAK, "four times the MAK, its factor from memory", "memory"),
    ExposureLimit("zinc oxide fume", "idlh", 500.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("zinc oxide dust", "8 h", 15.0, *_OSHA, "sampling page of 2008", "sourced"),
    ExposureLimit("zinc oxide dust", "ceiling", 15.0, *_NIOSH, _UNDATED, "sourced"),
    ExposureLimit("copper fume", "8 h", 0.1, *_OSHA, _IDLH, "sourced"),
    ExposureLimit("copper fume", "8 h", 0.2, *_ACGIH, _IDLH, "sourced"),
    ExposureLimit("copper fume", "8 h", 0.2, *_UK, _EH40, "memory"),
    ExposureLimit("copper fume", "8 h", 0.01, *_MAK, "2014, respirable, from memory, check", "memory"),
    ExposureLimit("lead", "8 h", 0.050, *_OSHA, "29 CFR 1910.1025", "sourced"),
    ExposureLimit("lead", "8 h", 0.050, *_ACGIH, _DATA_SHEET, "sourced"),
    ExposureLimit("lead", "8 h", 0.030, *_EU, "Directive (EU) 2024/869, in force since 2026-04-09", "sourced"),
    ExposureLimit(
        "lead", "8 h", 0.15, *_UK, "Control of Lead at Work Regulations 2002, in a guide of 2024-10", "sourced"
    ),
    ExposureLimit("cadmium", "8 h", 0.005, *_OSHA, _DATA_SHEET, "sourced"),
    ExposureLimit("cadmium", "8 h", 0.002, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("cadmium", "8 h", 0.001, *_EU, "Directive (EU) 2019/983; 0.004 until 2027-07-11", "sourced"),
    ExposureLimit("cadmium", "8 h", 0.025, *_UK, "EH40/2005, in a Dutch overview", "sourced"),
    ExposureLimit("cadmium", "15 min", 0.05, *_UK, "EH40/2005, as oxide fume, in a guide of 2009", "sourced"),
    ExposureLimit("beryllium", "8 h", 0.0002, *_OSHA, "2017-01-09", "sourced"),
    ExposureLimit("beryllium", "15 min", 0.002, *_OSHA, "2017-01-09", "sourced"),
    ExposureLimit("beryllium", "8 h", 0.00005, *_ACGIH, "2009, in a note of the US Department of Energy", "sourced"),
    ExposureLimit("beryllium", "8 h", 0.0002, *_EU, "Directive (EU) 2019/983, in full since 2026-07-11", "sourced"),
    ExposureLimit("beryllium", "8 h", 0.002, *_UK, _EH40, "memory"),
    ExposureLimit("aluminium", "8 h", 1.0, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("manganese", "ceiling", 5.0, *_OSHA, _MANGANESE, "sourced"),
    ExposureLimit("manganese", "8 h", 1.0, *_NIOSH, _MANGANESE, "sourced"),
    ExposureLimit("manganese", "15 min", 3.0, *_NIOSH, _MANGANESE, "sourced"),
    ExposureLimit("manganese", "8 h", 0.2, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("manganese", "8 h", 0.02, *_ACGIH, "2013, respirable, in a sampling page", "sourced"),
    ExposureLimit(
        "manganese", "8 h", 0.05, *_EU, "Directive (EU) 2017/164, respirable, in a Dutch notice of 2018", "sourced"
    ),
    ExposureLimit("manganese", "8 h", 0.05, *_UK, "respirable, EH40/2005 as reissued, at second hand", "sourced"),
    ExposureLimit("respirable crystalline silica", "8 h", 0.050, *_OSHA, "29 CFR 1910.1053, 2016-03-25", "sourced"),
    ExposureLimit("respirable crystalline silica", "8 h", 0.025, *_ACGIH, "quartz, in a paper of 2014", "sourced"),
    ExposureLimit("respirable crystalline silica", "8 h", 0.1, *_EU, _CMRD + ", 2017", "sourced"),
    ExposureLimit("respirable crystalline silica", "8 h", 0.1, *_UK, "addendum of 2006-07 to EH40/2005", "sourced"),
    ExposureLimit("carbon monoxide", "8 h", 55.0, *_OSHA, _IDLH, "sourced"),
    ExposureLimit("carbon monoxide", "8 h", 40.0, *_NIOSH, _IDLH, "sourced"),
    ExposureLimit("carbon monoxide", "ceiling", 229.0, *_NIOSH, _IDLH, "sourced"),
    ExposureLimit("carbon monoxide", "8 h", 29.0, *_ACGIH, "1993-1994, in the NIOSH page of 1994-05", "sourced"),
    ExposureLimit("carbon monoxide", "8 h", 23.0, *_EU, _CMRD + ", 2022-03-16", "sourced"),
    ExposureLimit("carbon monoxide", "15 min", 117.0, *_EU, _CMRD + ", 2022-03-16", "sourced"),
    ExposureLimit("carbon monoxide", "8 h", 23.0, *_UK, "20 ppm, " + _EH40_ALARMS, "sourced"),
    ExposureLimit("carbon monoxide", "15 min", 117.0, *_UK, "100 ppm, " + _EH40_ALARMS, "sourced"),
    ExposureLimit("chlorine", "ceiling", 3.0, *_OSHA, _IDLH, "sourced"),
    ExposureLimit("chlorine", "ceiling", 1.45, *_NIOSH, _IDLH, "sourced"),
    ExposureLimit("chlorine", "8 h", 1.5, *_ACGIH, "1993-1994, in the NIOSH page of 1994-05", "sourced"),
    ExposureLimit(
        "chlorine", "15 min", 1.5, *_EU, "as SCOEL/SUM/76 of 1998 recommends it for Directive 2006/15/EC", "sourced"
    ),
    ExposureLimit("chlorine", "15 min", 1.5, *_UK, "EH40/2005, in a Dutch overview", "sourced"),
    ExposureLimit("chlorine", "8 h", 1.5, *_TRGS, "2009-07-02, in a Dutch overview", "sourced"),
    ExposureLimit("chlorine", "15 min", 1.5, *_TRGS, "2009-07-02, in a Dutch overview", "sourced"),
    ExposureLimit("chlorine", "idlh", 29.0, *_NIOSH, _IDLH, "sourced"),
    ExposureLimit("fluorides", "8 h", 2.5, *_OSHA, _IDLH, "sourced"),
    ExposureLimit("fluorides", "8 h", 2.5, *_NIOSH, _IDLH, "sourced"),
    ExposureLimit("fluorides", "8 h", 2.5, *_ACGIH, "1993-1994, in the NIOSH page of 1994-05", "sourced"),
    ExposureLimit("fluorides", "8 h", 2.5, *_EU, "Directive 2000/39/EC, from memory", "memory"),
    ExposureLimit("fluorides", "8 h", 2.5, *_UK, _EH40, "memory"),
    ExposureLimit("hydrogen fluoride", "8 h", 2.0, *_OSHA, "sampling page of 2009", "sourced"),
    ExposureLimit("hydrogen fluoride", "ceiling", 5.0, *_NIOSH, "sampling page of 2009", "sourced"),
    ExposureLimit("hydrogen fluoride", "8 h", 0.41, *_ACGIH, "2005, in a California review of 2008", "sourced"),
    ExposureLimit("hydrogen fluoride", "8 h", 1.5, *_EU, "Directive 2000/39/EC, from memory", "memory"),
    ExposureLimit("formaldehyde", "8 h", 0.92, *_OSHA, "0.75 ppm, 29 CFR 1910.1048", "sourced"),
    ExposureLimit("formaldehyde", "15 min", 2.5, *_OSHA, "2 ppm, 29 CFR 1910.1048", "sourced"),
    ExposureLimit("formaldehyde", "8 h", 0.37, *_EU, "Directive (EU) 2019/983", "sourced"),
    ExposureLimit("formaldehyde", "15 min", 0.74, *_EU, "Directive (EU) 2019/983", "sourced"),
    ExposureLimit("silver", "8 h", 0.01, *_OSHA, "undated sampling page", "sourced"),
    ExposureLimit("silver", "8 h", 0.01, *_NIOSH, "undated sampling page", "sourced"),
    ExposureLimit("silver", "8 h", 0.1, *_ACGIH, "metal, in an undated sampling page", "sourced"),
    ExposureLimit("silver", "8 h", 0.1, *_EU, "Directive 2006/15/EC, from memory", "memory"),
    ExposureLimit("antimony", "8 h", 0.5, *_ONT, _UNDATED, "sourced"),
    ExposureLimit("antimony", "8 h", 0.5, *_UK, _EH40_2018, "sourced"),
    ExposureLimit("tin", "8 h", 2.0, *_OSHA, "in a sampling method of 1997-07", "sourced"),
    ExposureLimit("tin", "8 h", 2.0, *_EU, "Directive 91/322/EEC", "sourced"),
    ExposureLimit("tin", "8 h", 2.0, *_UK, _EH40_2018, "sourced"),
    ExposureLimit("tin", "15 min", 4.0, *_UK, _EH40_2018, "sourced"),
    ExposureLimit("tin", "8 h", 2.0, *_TRGS, "2020-03, inhalable, in a Dutch overview", "sourced"),
)
LIMITED = frozenset(limit.substance for limit in LIMITS)
# What counts for a region, its own first; the strictest of all where none of them has one.
_COUNTS: dict[AirLimits, tuple[AirLimits, ...]] = {"germany": ("germany", "eu")}
_SHORT = ("15 min", "ceiling")  # a ceiling may be judged as a quarter of an hour (29 CFR 1910.1000(a)(1))


def limits_for(substance: str, region: AirLimits = "strictest") -> tuple[ExposureLimit, ...]:
    """The limits of a substance that count in a region, all of them for the strictest. Raises NotFound."""
    found = tuple(limit for limit in LIMITS if limit.substance == substance)
    if not found:
        known = sorted({limit.substance for limit in LIMITS})
        told = tell("fume.no_limits", substance=substance)
        raise NotFound(told, remedy=tell("error.use_one", known=", ".join(known)))
    if region == "strictest":
        return found
    for counts in _COUNTS.get(region, (region,)):
        own = tuple(limit for limit in found if limit.region == counts and limit.kind != "idlh")
        if own:
            return own
    return found


def governing(substance: str, kind: str, region: AirLimits = "strictest") -> ExposureLimit:
    """The strictest limit of a kind, "8 h" or "15 min", that counts in a region.

    The strictest of all where the region has none of that kind. Raises NotFound.
    """
    kinds = _SHORT if kind == "15 min" else (kind,)
    order: tuple[AirLimits, ...] = (*_COUNTS.get(region, (region,)), "strictest")
    for counts in order:
        fit = [one for one in limits_for(substance) if one.kind in kinds and counts in (one.region, "strictest")]
        if fit:
            return min(fit, key=lambda one: one.mg_per_m3)
    raise NotFound(tell("fume.no_limit", kind=kind, substance=substance))


def stands_in(substance: str, kind: str, region: AirLimits) -> bool:
    """The limit that governs is none of the region's own: it has none of that kind here. Of no region: never."""
    return region != "strictest" and governing(substance, kind, region).region != region


def limit(substance: str, kind: str, body: str) -> ExposureLimit:
    """One limit by substance, kind and the start of the body's name. Raises NotFound."""
    for one in limits_for(substance):
        if one.kind == kind and one.body.startswith(body):
            return one
    raise NotFound(tell("fume.no_limit_of", kind=kind, body=body, substance=substance))


# The levels of the fume flag (fume.py) compare with this one wherever the shop stands: they mark what differs from
# ordinary work, and must not move with the law. Minutes are worked out with what governs.
LEVELS = limit("zinc oxide fume", "15 min", "NIOSH")
