"""Another catalogue of texts, and the program in it: `python tests/reworded.py WORDS...` is `pourcall WORDS...`.

`python tests/reworded.py -c CODE WORDS...` is `python -c CODE WORDS...`. With `--other-words` the tests run with it,
and so do the processes that they start (`program`, `python`).
"""

import sys
from contextlib import ExitStack
from pathlib import Path

from pourcall.texts.catalogue import English, current, other_words
from pourcall.texts.saying import PLACE


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


def python(code: str, *words: str) -> list[str]:
    """`python -c CODE WORDS...` as a process of its own, in the words that the tests run with."""
    way_in = [__file__] if isinstance(current(), Reworded) else []
    return [sys.executable, *way_in, "-c", code, *words]


if __name__ == "__main__":
    sys.path[0] = str(Path(__file__).parents[1])  # names of this folder are no packages of the program
    swapped = ExitStack()  # and never swapped back: an error that ends the process is written after all else
    swapped.enter_context(other_words(Reworded()))
    if sys.argv[1] == "-c":
        code = sys.argv.pop(2)
        del sys.argv[0]  # as Python itself has it: -c and the words behind the code
        exec(code, {"__name__": "__main__"})
    else:
        from pourcall.cli.main import main

        raise SystemExit(main(sys.argv[1:]))
