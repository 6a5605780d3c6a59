"""What was put right, or told later, about a pour or a melt on record."""

TEXTS: dict[str, str] = {
    "correction.done": "pour {pour} {what}; the first entry is kept",
    "correction.restored": "stands again as it was first marked",
    "correction.struck_out": "struck out (marked by mistake)",
    "correction.moved": "{parts: and }: {now}, {was} before",
    "correction.moved.mould": "went into {mould}",
    "correction.moved.later": "was {by_s:0} later",
    "correction.moved.earlier": "was {by_s:0} earlier",
    "correction.moved.lift": "was lifted {before_s:0} before",
    "correction.moved.no_lift": "had no lift that is known",
    "correction.lip": "{lip_c} at the lip",
    "correction.lip_unknown": "temperature at the lip not known",
    "correction.worked_out_again": "{basis}; worked out again from the recorded trace",
    "correction.other_mould": "{pot_c} in the pot ({figure}), less {way_difference_c:below pot_c} on the way; worked out again for "
    "another mould from the recorded figure of the pot",
    "correction.pour_completed": "pour {pour}: {said}; on record",
    "correction.melt_noted": "melt {melt}: {said}; on record",
    "correction.setup": "setup {setup}",
    "correction.batch": "batch {batch}",
    "correction.note": "a note",
    "correction.tag": "tag {tag}",
}
