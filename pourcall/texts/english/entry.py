"""Later entries: what cannot go on record as it was written. Also photos."""

TEXTS: dict[str, str] = {
    "entry.unseen": "{entry_part} has a character that cannot be seen: {code}",
    "entry.unseen.remedy": "Write it without, in one line",
    "entry.too_long": "{entry_part} has {count} {count:character|characters}",
    "entry.at_most": "At most {most} will do",
    "entry.no_name": "{entry_part} is empty",
    "entry.no_name.remedy": "Write a name, such as 'deck cleat 160 mm'",
    "entry.no_plain_name": "{entry_part}, '{given}', has a comma or begins with a dash",
    "entry.no_plain_name.remedy": "Write it without",
    "entry.mass": "{mass_kg} is outside 0 to {most_kg}",
    "entry.nothing_written": "Nothing was written",
    "entry.not_correctable": "{fields} of a pour cannot be corrected",
    "entry.not_correctable.remedy": "Correct what a person told of it",
    "entry.no_row": "there is no row {row} among the pours",
    "entry.row_corrected": "row {row} of the pours was corrected already",
    "entry.photo.too_large": "{size_mb} MB is too large for a photo",
    "entry.photo.too_large.remedy": "Make it smaller than {most_mb} MB",
    "entry.photo.no_image": "the file is no JPEG, PNG or WebP image",
    "entry.photo.no_image.remedy": "Give the photo itself, as one of these",
    "entry.photo.cut_off": "the image is cut off",
    "entry.photo.cut_off.remedy": "Copy it from the camera again",
}
