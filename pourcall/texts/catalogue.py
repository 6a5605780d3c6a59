"""The catalogue: the template of a message by its name. `call.pour.now` stands in the module `call` of the language.

A module is loaded when the first of its messages is said, so that no command pays for what it never says.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib import import_module
from typing import Protocol


class Catalogue(Protocol):
    """A language, or what stands in for one in a test."""

    def template(self, name: str) -> str | None:
        """The sentence with its facts in braces; None: there is no such message."""
        ...


class English:
    """The catalogue that ships."""

    def template(self, name: str) -> str | None:
        """See Catalogue."""
        return subject_texts(name.partition(".")[0]).get(name)


def subject_texts(subject: str) -> Mapping[str, str]:
    """All messages of one subject, `call` or `dip`; empty where there is none of that name."""
    if not subject.isidentifier() or subject.startswith("_"):  # from outside, or of a damaged record
        return {}
    try:
        texts: Mapping[str, str] = import_module(f"pourcall.texts.english.{subject}").TEXTS
    except ModuleNotFoundError:
        return {}
    return texts


_catalogue: Catalogue = English()


def current() -> Catalogue:
    """The catalogue in use."""
    return _catalogue


@contextmanager
def other_words(catalogue: Catalogue) -> Iterator[None]:
    """Another catalogue for a while: what the program does must not change by it."""
    global _catalogue
    before, _catalogue = _catalogue, catalogue
    try:
        yield
    finally:
        _catalogue = before
