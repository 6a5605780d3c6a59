"""Learning a furnace from its melts: what a melt lacks, and why nothing was learned."""

TEXTS: dict[str, str] = {
    "furnace.nothing": "nothing to learn {furnace} from: {melts:; }",
    "furnace.nothing.remedy": "Record a melt with the power marked",
    "furnace.no_melt": "no melt on record has the metal's temperature",
    "furnace.not_used": "{melt}: {why}",
    "furnace.lacks.everything": "no readings in the metal, and at least {least} dips are needed without them",
    "furnace.lacks.readings.metal": "only {count} readings in the metal, at least {least} are needed",
    "furnace.lacks.readings.chamber": "only {count} readings in the chamber, at least {least} are needed",
    "furnace.lacks.time": "too short: {lasts_s}, at least {least_s} are needed",
    "furnace.lacks.rise": "too flat: the temperature spans {span_difference_c}, at least {least_difference_c} are needed",
    "furnace.lacks.dips": "only {count} dips or typed figures, at least {least} are needed",
    "furnace.lacks.time_between_dips": "all dips lie within {within_s}, at least {least_s} are needed",
    "furnace.lacks.power": "nobody said how the knob or burner stood: mark it with `pourcall melt mark high`",
    "furnace.lacks.power_on": "the power was marked off from start to end",
    "furnace.lacks.charge": "nobody said how much metal was in the pot",
    "furnace.too_long": "learning took longer than {most_s}",
    "furnace.too_long.remedy": "Learn from fewer melts",
    "furnace.not_installed": "learning needs numpy and scipy",
    "furnace.not_installed.remedy": "Install them: pip install 'pourcall[learn]'",
    "furnace.failed": "learning failed: {error}",
    "furnace.failed.remedy": "Send the log",
}
