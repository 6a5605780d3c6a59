"""The texts of an advice, made from its figures: the most important first, each with its uncertainty."""

from collections.abc import Sequence

from pourcall.contract.message import Message, tell
from pourcall.trials.advice import Advice, Bound, InPot, NextKind, SetupData
from pourcall.trials.defects import defects

CLOSE_C = 6.0  # three pours within this tell little of elsewhere
NEAR_BEST_C = 2.0
TOLD_FAR_BELOW = 0.05  # chance that a much better temperature is missed, from which on it is said


def sentences(data: SetupData, advice: Advice) -> tuple[Message, ...]:
    """The advice, the most important first."""
    if advice.best_c is None or advice.next_c is None:
        return (_nothing_allowed(data),)
    if advice.not_temperature:
        said = [*_accusation(data, advice, advice.next_c), *_pots(advice), *_best(advice), _usable(advice)]
    else:
        said = [*_next(data, advice), *_pots(advice), *_best(advice), _usable(advice), _more(advice)]
    return (*_noticed(data, advice), *said, *_doubt(advice), _bounds(data, advice), *_based_on(data, advice))


def _noticed(data: SetupData, advice: Advice) -> list[Message]:
    """What speaks against reading the pours as one series: before all else."""
    said = []
    if advice.unlike is not None:
        one = advice.unlike
        by_chance = chance(one.by_chance)
        if one.pours == 1:
            said.append(tell("advice.unlike.one", since=one.since, by_chance_share=by_chance))
        else:
            said.append(tell("advice.unlike.some", pours=one.pours, since=one.since, by_chance_share=by_chance))
        said.append(tell("advice.unlike.remedy", since=one.since))
    if data.changed:
        said.append(tell("advice.changed", parts=data.changed))
    if data.changed_since:
        said.append(tell("advice.changed_since"))
    return said


def _doubt(advice: Advice) -> list[Message]:
    if advice.far_below_probability < TOLD_FAR_BELOW:
        return []
    return [tell("advice.far_below", far_share=chance(advice.far_below_probability))]


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
    classes = [defects()[key] for key in data.seen if key in defects() and defects()[key].remedy]
    first = tuple({one.first.name: one.first for one in classes}.values())
    said = [what, tell("advice.change_first", next_c=next_c)]
    return [*said, tell("advice.here", steps=first[:4])] if first else said


def _next(data: SetupData, advice: Advice) -> list[Message]:
    """For a customer the surest, to learn the most telling; one sentence where they are the same."""
    assert advice.next_c is not None
    assert advice.next_sound is not None
    why = _why(data, advice, advice.next_c)
    if not _two_answers(advice):
        return [tell("advice.next", next_c=advice.next_c, why=why)]
    assert advice.customer_c is not None
    assert advice.customer_sound is not None
    assert advice.customer_low is not None
    assert advice.customer_high is not None
    return [
        tell(
            "advice.customer",
            customer_c=advice.customer_c,
            sound_share=chance(advice.customer_sound),
            low_share=chance(advice.customer_low),
            high_share=chance(advice.customer_high),
        ),
        tell("advice.learn", next_c=advice.next_c, sound_share=chance(advice.next_sound), why=why),
    ]


def _two_answers(advice: Advice) -> bool:
    """Whether the surest and the most telling are far enough apart to be told apart."""
    surest_c, telling_c = advice.customer_c, advice.next_c
    return surest_c is not None and telling_c is not None and abs(surest_c - telling_c) >= NEAR_BEST_C


def _why(data: SetupData, advice: Advice, next_c: float) -> Message:
    kind: NextKind = advice.next_kind
    beyond = advice.best_c is not None and abs(advice.best_c - next_c) > NEAR_BEST_C
    if kind is NextKind.BEST and beyond and data.pours:
        return tell("advice.why.towards")
    if kind is NextKind.FIRST:
        return tell("advice.why.first_borrowed" if advice.borrowed else "advice.why.first")
    return tell(f"advice.why.{kind.value}")


def _pots(advice: Advice) -> list[Message]:
    """What the pot must hold as it is lifted, for each place in the order."""
    alike = advice.not_temperature or not _two_answers(advice)
    parts = tuple(_pot(one, alike=alike) for one in advice.pots)
    return [tell("advice.pots", parts=parts)] if parts else []


def _pot(one: InPot, *, alike: bool) -> Message:
    pot_c, customer_pot_c, lost_c = one.next_tap_c, one.customer_tap_c, one.loss_c
    if one.moulds == 1 and alike:
        return tell("advice.pot", pot_c=pot_c, loss_difference_c=lost_c)
    if one.moulds == 1:
        return tell("advice.pot_both", customer_pot_c=customer_pot_c, pot_c=pot_c, loss_difference_c=lost_c)
    if alike:
        return tell("advice.pot_of_several", pot_c=pot_c, loss_difference_c=lost_c, order=one.order, mould=one.mould)
    return tell(
        "advice.pot_of_several_both",
        customer_pot_c=customer_pot_c,
        pot_c=pot_c,
        loss_difference_c=lost_c,
        order=one.order,
        mould=one.mould,
    )


def _best(advice: Advice) -> list[Message]:
    """The best of all that is known, unless it was told as the surest for a customer."""
    assert advice.best_c is not None
    assert advice.best_sound is not None
    assert advice.best_low is not None
    assert advice.best_high is not None
    if _two_answers(advice) and advice.customer_c == advice.best_c and not advice.not_temperature:
        return []
    return [
        tell(
            "advice.best",
            best_c=advice.best_c,
            sound_share=chance(advice.best_sound),
            low_share=chance(advice.best_low),
            high_share=chance(advice.best_high),
        )
    ]


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
        said.append(tell("advice.unrelated", count=unrelated))
    if data.invented:
        said.append(tell("advice.invented"))
    if data.left_out:
        said.append(tell("advice.left_out", parts=data.left_out))
    lips_c: Sequence[float] = [pour.lip_c for pour in data.pours]
    if len(lips_c) >= 3 and max(lips_c) - min(lips_c) < CLOSE_C:
        said.append(tell("advice.close", spread_difference_c=max(max(lips_c) - min(lips_c), 0.1)))
    return said


def _inspected(count: int) -> Message:
    return tell("advice.inspected", count=count)
