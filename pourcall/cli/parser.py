"""The parser of every command. What cannot be read is an error of ours: which word, what was meant, where to look.

Not here: the commands (main.py), quantities (contract/quantities.py).
"""

import argparse
from collections.abc import Iterator
from typing import Any, NoReturn

from pourcall.contract.errors import BadInput
from pourcall.contract.message import Fact, Told, tell
from pourcall.contract.nearest import nearest
from pourcall.contract.quantities import figure
from pourcall.texts import say


def described(told: Told) -> str:
    """A text of the catalogue for `help=` and `description=`, where the library takes a `%` for a format."""
    return say(told).replace("%", "%%")


def option(name: str, /, **facts: Fact) -> str:
    """What `--help` says of an option or a sub-command: `option.NAME` of the catalogue."""
    return described(tell(f"option.{name}", **facts))


class CommandParser(argparse.ArgumentParser):
    """As the library's, but it raises BadInput, and says the nearest word that is known."""

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Raises BadInput for what is left over."""
        found, rest = self.parse_known_args(args, namespace)
        if rest:
            words = [word for word in rest if word.startswith("-")] or rest
            typed = words[0].partition("=")[0]
            if takers := [name for name, option in self._options() if option == typed]:
                raise BadInput(
                    tell("cli.option_elsewhere", option=typed, commands=", ".join(takers)),
                    where=self.prog,
                    remedy=tell("cli.usage.remedy", command=self.prog),
                )
            self._unknown(typed, [option for _, option in self._options()] if typed.startswith("-") else [])
        return found

    def error(self, message: str) -> NoReturn:
        """Anything else the library objects to, with where the command is described."""
        raise BadInput(tell("cli.usage", what=message), remedy=tell("cli.usage.remedy", command=self.prog))

    def _get_value(self, action: argparse.Action, arg_string: str) -> Any:
        """Called by the library for each word: a bare number is read as everywhere else, a decimal comma is one."""
        if action.type is float:
            return figure(arg_string, where=" or ".join(action.option_strings) or action.dest)
        return super()._get_value(action, arg_string)

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """Called by the library for each word that must be one of several."""
        if action.choices is not None and value not in action.choices:
            self._unknown(str(value), [str(one) for one in action.choices if str(one)])

    def _unknown(self, word: str, known: list[str]) -> NoReturn:
        near = nearest(word, known)
        what = tell("cli.unknown_near", word=word, near=near[0]) if near else tell("cli.unknown", word=word)
        if known and not near and not known[0].startswith("-"):
            raise BadInput(what, where=self.prog, remedy=tell("cli.unknown.remedy", known=", ".join(known)))
        raise BadInput(what, where=self.prog, remedy=tell("cli.usage.remedy", command=self.prog))

    def _options(self) -> Iterator[tuple[str, str]]:
        """Every option of this command and of what is under it, each with the command that takes it."""
        for action in self._actions:
            yield from ((self.prog, option) for option in action.option_strings)
            if isinstance(action, argparse._SubParsersAction):
                for under in action.choices.values():
                    yield from under._options()
