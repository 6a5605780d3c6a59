"""The texts of an advice, made from its figures: the most important first, each with its uncertainty."""

from collections.abc import Sequence

from pourcall.contract.message import Message, tell
from pourcall.trials.advice import Advice, Bound, NextKind, SetupData
from pourcall.trials.defects import defects

CLOSE_C = 6.0  # three pours within this tell little of elsewhere
NEAR_BEST_C = 2.0


def sentences(data: SetupData, advice: Advice) -> tuple[Message, ...]:
    """The advice, the most important first."""
    if advice.best_c is None or advice.next_c is None:
        return (_nothing_allowed(data),)
    if advice.not_temperature:
        said = [*_accusation(data, advice, advice.next_c), _best(advice, advice.best_c), _usable(advice)]
    else:
        said = [_next(data, advice, advice.next_c), _best(advice, advice.best_c), _usable(advice), _more(advice)]
    if data.changed:
        said.append(tell("advice.changed", parts=data.changed))
    return (*said, _bounds(data, advice), *_based_on(data, advice))


def chance(share: float) -> float:
    """A share as it is said: whole hundredths, never 0 or 1, which nobody can know."""
    return min(99, max(1, round(100.0 * share))) / 100.0


def _nothing_allowed(data: SetupData) -> Message:
    top = data.bounds[0] if data.bounds else None
    held = _limit(top) if top is not None else tell("advice.nothing.left")
    return tell("advice.nothing", alloy=data.alloy_name, lowest_c=data.floor_c, held=held)


def _accusation(data: SetupData, advice: Advice, next_c: float) -> list[Message]:
    if advice.both_at_once:
        what = tell("advice.other_cause.both", pours=", ".join(advice.both_at_once))
    else:
        what = tell("advice.other_cause.hopeless", sure_share=chance(advice.no_good_probability))
    first = list(dict.fromkeys(defects()[key].first for key in data.seen if key in defects() and defects()[key].first))
    said = [what, tell("advice.change_first", next_c=next_c)]
    return [*said, tell("advice.here", steps="; ".join(first[:4]))] if first else said


def _next(data: SetupData, advice: Advice, next_c: float) -> Message:
    kind: NextKind = advice.next_kind
    beyond = advice.best_c is not None and abs(advice.best_c - next_c) > NEAR_BEST_C
    if kind is NextKind.BEST and beyond and data.pours:
        why = tell("advice.why.towards")
    elif kind is NextKind.FIRST:
        why = tell("advice.why.first_borrowed" if advice.borrowed else "advice.why.first")
    else:
        why = tell(f"advice.why.{kind.value}")
    if advice.next_tap_c is None:
        return tell("advice.next", next_c=next_c, why=why)
    return tell("advice.next_in_pot", next_c=next_c, pot_c=advice.next_tap_c, why=why)


def _best(advice: Advice, best_c: float) -> Message:
    assert advice.best_sound is not None
    assert advice.best_low is not None
    assert advice.best_high is not None
    return tell(
        "advice.best",
        best_c=best_c,
        sound_share=chance(advice.best_sound),
        low_share=chance(advice.best_low),
        high_share=chance(advice.best_high),
    )


def _usable(advice: Advice) -> Message:
    level = chance(advice.level)
    if advice.usable_min_c is None or advice.usable_max_c is None:
        return tell("advice.not_usable", level_share=level)
    return tell("advice.usable", level_share=level, lowest_c=advice.usable_min_c, highest_c=advice.usable_max_c)


def _more(advice: Advice) -> Message:
    if advice.next_kind is NextKind.STOP:
        return tell("advice.more.not_worth")
    gain = round(100.0 * chance(advice.gain_left))
    if advice.pours_more is None:
        return tell("advice.more.many", castings=gain)
    if advice.pours_more == 0:
        return tell("advice.more.none")
    if advice.pours_more == 1:
        return tell("advice.more.one", castings=gain)
    return tell("advice.more.some", pours=advice.pours_more, castings=gain)


def _bounds(data: SetupData, advice: Advice) -> Message:
    held = next((bound for bound in data.bounds if bound.whose == advice.bounded_by), None)
    if held is not None:
        return tell("advice.held_back", limit=_limit(held))
    if not data.bounds:
        return tell("advice.considered.from", lowest_c=data.floor_c)
    top = data.bounds[0]
    return tell("advice.considered", lowest_c=data.floor_c, highest_c=top.limit_c, why=top.why)


def _limit(bound: Bound) -> Message:
    return tell("advice.limit", why=bound.why, highest_c=bound.limit_c)


def _based_on(data: SetupData, advice: Advice) -> list[Message]:
    said = [tell("advice.based_on", pours=_inspected(advice.pours), window=data.window_why)]
    if advice.borrowed:
        parts = tuple(
            tell("advice.lent", pours=one.pours, setup=one.setup, apart_difference_c=one.apart_c)
            for one in advice.borrowed
        )
        said.append(tell("advice.borrowed", parts=parts))
    unrelated = sum(1 for pour in data.pours if pour.found.unrelated)
    if unrelated:
        said.append(tell("advice.unrelated.one" if unrelated == 1 else "advice.unrelated.some", count=unrelated))
    if data.invented:
        said.append(tell("advice.invented"))
    if data.left_out:
        said.append(tell("advice.left_out", parts=data.left_out))
    lips_c: Sequence[float] = [pour.lip_c for pour in data.pours]
    if len(lips_c) >= 3 and max(lips_c) - min(lips_c) < CLOSE_C:
        said.append(tell("advice.close", spread_difference_c=max(max(lips_c) - min(lips_c), 0.1)))
    return said


def _inspected(count: int) -> Message:
    return tell("advice.inspected.one" if count == 1 else "advice.inspected.some", count=count)
