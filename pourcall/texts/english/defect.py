"""What inspection found: defects with their severity, and what contradicts itself."""

TEXTS: dict[str, str] = {
    "defect.unknown": "'{word}' is no class of defect",
    "defect.unknown_near": "'{word}' is no class of defect; nearest: {near}",
    "defect.unknown.remedy": "`pourcall pour result --classes` shows all; or use 'other'",
    "defect.severity": "'{given}' has no severity from 0 to 3",
    "defect.severity.remedy": "Write {defect}=1 (slight, usable), =2 (marked) or =3 (scrap); =0 takes back what was told",
    "defect.wrong_severity": "{defect} cannot have a severity of {severity}",
    "defect.wrong_severity.remedy": "Severity is 1 (slight), 2 (marked) or 3 (scrap); a casting without fault is `sound`",
    "defect.sound_severity": "'{given}': a sound casting has no severity",
    "defect.sound_severity.remedy": "Write `sound` alone",
    "defect.twice": "{defect} is given twice",
    "defect.twice.remedy": "Give its worst severity once; places after @",
    "defect.sound_and": "a casting cannot be sound and have {defects}",
    "defect.sound_and.remedy": "Leave out one or the other",
    "defect.not_on_record": "{defect} is not on record, so it cannot be taken back",
    "defect.contradicts": "{now} contradicts what is on record: {before}",
    "defect.contradicts.remedy": "Enter it as a correction (`pourcall pour result ... --correct`); the old entry is kept",
}
