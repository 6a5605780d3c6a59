"""An advice in sentences. Calm, with its uncertainty; temperatures as tokens for `in_unit`."""

from pourcall.contract.units import say_c, say_difference_c
from pourcall.trials.advice import Advice, Bound, SetupData
from pourcall.trials.compare import more_changed
from pourcall.trials.defects import defects


def sentences(data: SetupData, advice: Advice) -> tuple[str, ...]:
    """The advice, the most important first."""
    if advice.best_c is None or advice.next_c is None:
        return _nothing_allowed(data)
    if advice.not_temperature:
        said = [*_accusation(data, advice), _best(advice), _usable(advice)]
    else:
        said = [_next(data, advice), _best(advice), _usable(advice), _more(advice)]
    if data.changed:
        said.append(f"{more_changed(data.changed)}; change one thing at a time.")
    said += _bounds(data, advice)
    said += _rests_on(data, advice)
    return tuple(sentence for sentence in said if sentence)


def percent(share: float) -> str:
    """`82 %`; never 0 or 100, which nobody can know."""
    return f"{min(99, max(1, round(100.0 * share)))} %"


def _nothing_allowed(data: SetupData) -> tuple[str, ...]:
    top = data.bounds[0] if data.bounds else None
    held = f"{top.why} leaves at most {say_c(top.limit_c)}" if top is not None else "the limits leave nothing"
    what = (
        f"No temperature can be advised: {data.alloy_name} needs {say_c(data.floor_c)} at the lip to be fully liquid, "
        f"and {held}. Shorten the way, preheat the ladle, or take a pot with a higher rating."
    )
    return (what,)


def _accusation(data: SetupData, advice: Advice) -> list[str]:
    assert advice.next_c is not None
    if advice.both_at_once:
        poured = ", ".join(advice.both_at_once)
        what = f"Temperature is not the cause, or not alone: cold and hot faults in one casting (pour {poured})."
    else:
        what = (
            "Temperature is not the cause, or not alone: no temperature within the limits is likely to give a sound "
            f"casting more often than every other time ({percent(advice.no_good_probability)} sure)."
        )
    first = list(dict.fromkeys(defects()[key].first for key in data.seen if key in defects() and defects()[key].first))
    do = f" Here: {'; '.join(first[:4])}." if first else ""
    then = f"then pour at {say_c(advice.next_c)} to see what it did"
    return [what, f"Change gating, section or venting first, and only that; {then}.{do}"]


def _next(data: SetupData, advice: Advice) -> str:
    assert advice.next_c is not None
    pot = f" ({say_c(advice.next_tap_c)} in the pot)" if advice.next_tap_c is not None else ""
    who = "the sheet and similar setups expect" if advice.borrowed else "the sheet expects"
    why = {
        "first": f"no pour of this setup is inspected yet, so begin where {who} sound castings",
        "learn": "next to the best, where one more pour teaches most about where this mould's window ends",
        "best": "where a sound casting is likeliest",
        "hotter": "only cold faults so far, so a step hotter",
        "colder": "only hot faults so far, so a step colder",
        "stop": "where a sound casting is likeliest; there is little left to learn",
    }[advice.next_kind]
    poured = [pour.lip_c for pour in data.pours]
    if advice.next_kind == "best" and advice.best_c is not None and abs(advice.best_c - advice.next_c) > 2.0 and poured:
        why = "towards the best, no further than one step beyond what was poured"
    return f"Pour next at {say_c(advice.next_c)} at the lip{pot}: {why}."


def _best(advice: Advice) -> str:
    assert advice.best_c is not None
    assert advice.best_sound is not None
    assert advice.best_low is not None
    assert advice.best_high is not None
    return (
        f"Best by what is known: {say_c(advice.best_c)}, sound in {percent(advice.best_sound)} of castings "
        f"(90 % band {percent(advice.best_low)} to {percent(advice.best_high)})."
    )


def _usable(advice: Advice) -> str:
    if advice.usable_min_c is None or advice.usable_max_c is None:
        return f"No temperature is known yet to give {percent(advice.level)} sound castings."
    window = f"{say_c(advice.usable_min_c)} to {say_c(advice.usable_max_c)}"
    return f"Usable, {percent(advice.level)} sound or better: {window}."


def _more(advice: Advice) -> str:
    if advice.next_kind == "stop":
        return "More trials are not worth their metal: keep this temperature and look again when something changes."
    gain = f"; all there is to learn would save {percent(advice.gain_left)} of the castings"
    if advice.pours_more is None:
        return f"More than twelve inspected pours are needed to settle it{gain}."
    if advice.pours_more == 0:
        return "No more trials are needed."
    plural = "pour" if advice.pours_more == 1 else "pours"
    return f"About {advice.pours_more} more inspected {plural} should settle it{gain}."


def _bounds(data: SetupData, advice: Advice) -> list[str]:
    held = next((bound for bound in data.bounds if bound.whose == advice.bounded_by), None)
    if held is not None:
        return [f"Held back: hotter might be sounder, but {_limit(held)}."]
    top = data.bounds[0] if data.bounds else None
    upper = f" and {say_c(top.limit_c)} ({top.why})" if top is not None else ""
    return [f"Looked for between {say_c(data.floor_c)} (fully liquid, with a margin){upper}."]


def _limit(bound: Bound) -> str:
    return f"{bound.why} leaves at most {say_c(bound.limit_c)} at the lip"


def _rests_on(data: SetupData, advice: Advice) -> list[str]:
    count = f"{advice.pours} inspected {'pour' if advice.pours == 1 else 'pours'}"
    said = [f"Rests on {count} and on the {data.window_why}."]
    if advice.borrowed:
        told = "; ".join(
            f"{one.pours} of {one.setup}, whose window may well lie {say_difference_c(one.apart_c)} off"
            for one in advice.borrowed
        )
        said.append(f"Borrowed from similar setups of this alloy: {told}.")
    unrelated = sum(1 for pour in data.pours if pour.found.unrelated)
    if unrelated:
        plural = "pour" if unrelated == 1 else "pours"
        said.append(f"Faults that temperature has little to do with, in {unrelated} {plural}, are left aside.")
    if data.invented:
        said.append("Invented: these pours are of a simulated furnace. Try the program by them, and cast by your own.")
    if data.left_out:
        said.append("Left out: " + "; ".join(data.left_out) + ".")
    if data.pours:
        spread = max(pour.lip_c for pour in data.pours) - min(pour.lip_c for pour in data.pours)
        if len(data.pours) >= 3 and spread < 6.0:
            said.append(f"All pours lie within {say_difference_c(max(spread, 0.1))}: they tell little of elsewhere.")
    return said
