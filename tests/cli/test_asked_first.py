"""A doubtful mark: asked where somebody can answer, refused with the word to add where nobody can."""

from typing import Any

import pytest

from pourcall.cli.client import DaemonClient
from pourcall.cli.melts.melt_command import print_result
from pourcall.contract.api import CommandResult
from pourcall.contract.errors import Refused
from pourcall.contract.inputs import MarkPour
from pourcall.contract.message import tell
from pourcall.contract.questions import Doubt
from pourcall.contract.units import Unit
from tests.told import said


class Daemon(DaemonClient):
    """Doubts every pour that is not sure."""

    def __init__(self) -> None:
        self.heard: list[Any] = []

    def command(self, furnace: str, command: Any) -> CommandResult:
        self.heard.append(command)
        if command.sure:
            return CommandResult(accepted=True, seq=1, recorded=True, what=tell("daemon.done.mark_lift"))
        asked = tell("question.pour_not_called", melt_state="solid")
        doubt = Doubt.NOT_CALLED
        return CommandResult(
            accepted=False, seq=1, recorded=False, what=asked, remedy=tell("question.sure"), doubt=doubt
        )


@pytest.mark.parametrize(("answer", "counts"), [("y", True), ("Yes", True), ("n", False), ("", False), (None, False)])
def test_on_a_terminal_a_doubtful_mark_is_asked_and_only_a_yes_counts(
    monkeypatch: pytest.MonkeyPatch, answer: str | None, counts: bool
) -> None:
    def typed(asked: str) -> str:
        question = tell("question.pour_not_called", melt_state="solid")
        assert asked == said("question.yes_no", question=question)
        if answer is None:
            raise EOFError
        return answer

    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", typed)
    daemon = Daemon()
    if counts:
        print_result(daemon, "club", MarkPour(ago_s=4.0), Unit.C)
        assert daemon.heard == [MarkPour(ago_s=4.0), MarkPour(ago_s=4.0, sure=True)]
    else:
        with pytest.raises(Refused):
            print_result(daemon, "club", MarkPour(ago_s=4.0), Unit.C)
        assert daemon.heard == [MarkPour(ago_s=4.0)]


def test_without_a_terminal_a_doubtful_mark_is_refused_with_what_to_add(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    with pytest.raises(Refused) as refused:
        print_result(Daemon(), "club", MarkPour(), Unit.C)
    assert refused.value.remedy == tell("question.sure")
