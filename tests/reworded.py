"""Another catalogue of texts, and the program in it: `python tests/reworded.py WORDS...` is `pourcall WORDS...`.

With `--other-words` the tests run with it, and so do the processes that they start (`program`).
"""

import sys

from pourcall.texts.catalogue import English, current, other_words
from pourcall.texts.say import PLACE


class Reworded:
    """Every message in other words: its name spelled backwards, and its facts in the opposite order."""

    def __init__(self) -> None:
        self._english = English()

    def template(self, name: str) -> str | None:
        """See pourcall.texts.catalogue.Catalogue."""
        text = self._english.template(name)
        if text is None:
            return None
        facts = [found[0] for found in PLACE.finditer(text)]
        return " ".join([f"«{name[::-1]}»", *reversed(facts)])


def program(*words: str) -> list[str]:
    """`pourcall WORDS...` as a process of its own, in the words that the tests run with."""
    way_in = [__file__] if isinstance(current(), Reworded) else ["-m", "pourcall"]
    return [sys.executable, *way_in, *words]


if __name__ == "__main__":
    from pourcall.cli.main import main

    del sys.path[0]  # this folder: its names are no packages of the program
    with other_words(Reworded()):
        raise SystemExit(main(sys.argv[1:]))
