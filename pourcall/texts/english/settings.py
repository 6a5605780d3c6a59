"""The settings file: what is wrong in it as a whole, and between its tables."""

TEXTS: dict[str, str] = {
    "settings.faults": "the settings have {count} {count:fault|faults}:\n  - {faults:\n  - }",
    "settings.faults.remedy": "Correct the file; nothing was started and nothing was changed",
    "settings.schema": "this program reads schema {schema}; it is {found}",
    "settings.name": "names are lower-case letters, digits and _, begin with a letter, and have at most 31 characters",
    "settings.no_such": "there is no {table}{hint}",
    "settings.same_input": "{table} is on board {board} channel {channel} too: give each probe its own",
    "settings.same_port": "{table} has port {port} too: give each board its own",
    "settings.no_furnace": "no furnace is named: write a [furnace.NAME] table",
    "settings.unreadable": "the settings cannot be read: {error}",
    "settings.unreadable.remedy": "Make it a file that you may read, in UTF-8; or move it away and run `pourcall setup`",
    "settings.none_no_furnace": "there are no settings yet, so no furnace '{furnace}'",
    "settings.none.remedy": "Run `pourcall setup`",
    "settings.none": "there are no settings yet",
}
