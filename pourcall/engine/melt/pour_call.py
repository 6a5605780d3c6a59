"""May this metal be poured into this mould now? A temperature with its uncertainty in, a judgement out; pure.

Every pour is judged on the predicted temperature at the mould lip on arrival. Where the window is wider than 2 U the
whole band of uncertainty must lie inside; where it is narrower, the centre within a quarter of the width, and the odds
are told; where it misses far more often than it hits, what makes it surer is the call's own text. Silence is never the
answer. U is expanded uncertainty (k = 2), GUM (JCGM 100:2008) section 6.2.
"""

from dataclasses import dataclass, replace

from pourcall.contract.message import NOTHING, Message, tell
from pourcall.contract.plan import MeltPlan, MouldPlan, chance_above, lip_odds, lip_window_c, reading_u_c

MOST_CHANCE = 0.1  # that the pot is above such a limit; more, and nothing is called (judgement, no source)
KEEP_CHANCE = 0.03  # a call that is up stays up so much beyond
UNSURE_U_C = 25.0  # a reading so unsure: no probe that has settled is so far out; its tip lags, or the dip is old
KEEP_C = 2.0  # a call that is up stays up this far beyond where it was raised


@dataclass(frozen=True, slots=True)
class Judgement:
    """Whether to call. too_cold and too_hot are probabilities, 0 to 1."""

    pour: bool
    lip_c: float
    lip_u_c: float
    too_cold: float
    too_hot: float
    narrow: bool  # the window is narrower than the uncertainty: best aim, not certainty
    text: Message
    why: Message
    poor: bool = False  # a best aim that misses far more often than it hits: what makes it surer comes first
    surer: Message = NOTHING  # what would make it surer, where only a best aim can be told
    held: Message = NOTHING  # why it is held back although the figures fit
    too_near: float = 0.0  # chance that the pot is above a limit that is itself uncertain: zinc near its boiling


def judge_pour(
    metal_c: float,
    metal_u_c: float,
    mould: MouldPlan,
    plan: MeltPlan,
    *,
    number: int,
    calling: bool = False,
    dipped: bool = False,
    typed: bool = False,
) -> Judgement:
    """Judge a metal temperature in the pot (degC, with its U) for one mould.

    number: the mould's place in the order, from 1. calling: the call is up and ends a little later than it began.
    dipped: the figure is that of a dip; typed: of a handheld meter.
    """
    low_c, high_c = lip_window_c(mould, plan)
    odds = lip_odds(mould, plan, metal_c, metal_u_c)
    lip_c, u_c, too_cold, too_hot, width_c = odds.lip_c, odds.lip_u_c, odds.too_cold, odds.too_hot, odds.width_c
    keep_c = KEEP_C if calling else 0.0
    narrow = odds.narrow
    if width_c <= 0.0:
        fits = False
    elif narrow:
        centre_c = (low_c + high_c) / 2.0
        fits = abs(lip_c - centre_c) <= width_c / 4.0 + keep_c
    else:
        fits = low_c - keep_c <= lip_c - u_c and lip_c + u_c <= high_c + keep_c
    fits = fits and low_c <= lip_c <= high_c  # what keeps a call up never keeps it beyond the window itself
    too_near = _too_near(metal_c, metal_u_c, plan)
    held = tell("call.pour.near_boiling", chance_share=too_near) if too_near > MOST_CHANCE else NOTHING
    if fits and metal_u_c > UNSURE_U_C and odds.poor:
        fits, held = False, tell("call.pour.unsure", metal_u_c=metal_u_c)
    fits = fits and too_near <= MOST_CHANCE + (KEEP_CHANCE if calling else 0.0)
    why = tell(
        "call.pour.why",
        metal_c=metal_c,
        loss_difference_c=mould.loss_c,
        lip_c=lip_c,
        lip_u_c=u_c,
        low_c=low_c,
        high_c=high_c,
    )
    surer = _surer(reading_u_c(mould, metal_u_c), mould.loss_u_c, dipped=dipped, typed=typed) if narrow else NOTHING
    poor = narrow and odds.poor
    text = _text(mould.name, number, len(plan.moulds), (too_cold, too_hot) if narrow else None)
    return Judgement(
        pour=fits,
        lip_c=lip_c,
        lip_u_c=u_c,
        too_cold=too_cold,
        too_hot=too_hot,
        narrow=narrow,
        text=tell("call.pour.poor", aim=text, surer=surer) if poor else text,
        why=why if poor or not narrow else tell("call.pour.narrow", why=why, surer=surer),
        poor=poor,
        surer=surer,
        held=NOTHING if fits else held,
        too_near=too_near,
    )


def _too_near(metal_c: float, metal_u_c: float, plan: MeltPlan) -> float:
    """The chance that the pot is above a limit that is itself uncertain, both doubts in squares."""
    doubtful = [limit for limit in plan.limits if limit.u_c > 0.0]
    return max((chance_above(metal_c, metal_u_c, limit.limit_c, limit.u_c) for limit in doubtful), default=0.0)


def _surer(own_u_c: float, loss_u_c: float, *, dipped: bool, typed: bool) -> Message:
    """What takes most off the uncertainty: the larger part of it is worked on first."""
    if loss_u_c >= own_u_c:
        return tell("call.surer.walk", loss_u_c=loss_u_c)
    if typed:
        return tell("call.surer.meter", own_u_c=own_u_c)
    return tell("call.surer.dip" if dipped else "call.surer.calibrate", own_u_c=own_u_c)


def _text(mould: str, number: int, of: int, odds: tuple[float, float] | None) -> Message:
    """The call in words; odds: of arriving too cold and too hot, where only a best aim can be told."""
    if odds is None:
        if of > 1:
            return tell("call.pour.now_of", mould=mould, number=number, of=of)
        return tell("call.pour.now", mould=mould)
    cold, hot = odds
    if of > 1:
        return tell("call.pour.best_aim_of", mould=mould, number=number, of=of, cold_share=cold, hot_share=hot)
    return tell("call.pour.best_aim", mould=mould, cold_share=cold, hot_share=hot)


def hold_back(judgement: Judgement, why: Message) -> Judgement:
    """The same judgement, but nothing is poured now, for a reason outside the figures (an arrest that goes on)."""
    said = tell("call.pour.held", held=why, why=judgement.why)
    return replace(judgement, pour=False, why=said, held=why)


def stir_first(judgement: Judgement) -> Judgement:
    """The same judgement, of metal that nothing has shown to be liquid but its reading: a person looks first."""
    return replace(judgement, why=tell("call.pour.stir_first", why=judgement.why)) if judgement.pour else judgement
