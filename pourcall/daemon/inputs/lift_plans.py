"""Once a lift is over, the moulds that are left are planned for a lift of their own: one handler for every way there.

Told or seen back in the furnace, a pour struck or moved, a return that was none, a melt taken up after the daemon was
away: whichever it was, the engine says of which lift the moulds have their metal, and where the plan counted otherwise
it is made again and becomes a `ChangeMelt` like any other, so that record, replay and a restart carry it.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping

from pourcall.contract.errors import PourcallError
from pourcall.contract.inputs import ChangeMelt, TickIn
from pourcall.contract.message import Message, tell
from pourcall.contract.plan import MeltPlan
from pourcall.daemon.inputs.sequencer import InputSequencer, ProcessedInput
from pourcall.planning.melt_plans import as_left
from pourcall.texts import written

log = logging.getLogger(__name__)

# furnace, plan in force, moulds of earlier lifts -> the plan for the next, and what to mind; sheets are read for it
PlanAgain = Callable[[str, MeltPlan, tuple[str, ...]], Awaitable[tuple[MeltPlan, tuple[Message, ...]]]]


class LiftPlans:
    """Of all furnaces. On the event loop's thread."""

    def __init__(self, sequencers: Mapping[str, InputSequencer], plan_again: PlanAgain) -> None:
        self._sequencers, self._plan_again = sequencers, plan_again
        self._one_at_a_time = {name: asyncio.Lock() for name in sequencers}
        self._told: dict[str, tuple[int, tuple[Message, ...]]] = {}  # since which input, and what there was to mind

    def due(self, processed: ProcessedInput) -> bool:
        """What nobody waits for (the pot was seen to be back) is looked for once a second."""
        if not isinstance(processed.item, TickIn) or self._one_at_a_time[processed.furnace].locked():
            return False
        return self._sequencers[processed.furnace].snapshot().plan_is_of_another_lift

    async def follow(self, furnace: str) -> None:
        """Plan again what is left, where it was planned for another lift."""
        sequencer = self._sequencers[furnace]
        async with self._one_at_a_time[furnace]:
            while (shot := sequencer.snapshot()).plan is not None and shot.plan_is_of_another_lift:
                plan, minds, why = await self._made(furnace, shot.plan, shot.poured_earlier)
                now = sequencer.snapshot()
                if (now.plan, now.poured_earlier) != (shot.plan, shot.poured_earlier):
                    continue  # another change came first: it is made from that
                self._told[furnace] = shot.seq, minds
                await sequencer.command(ChangeMelt(plan=plan, why=written(why), next_lift=True, who="daemon"))
                break

    def told(self, furnace: str, since_seq: int) -> tuple[Message, ...]:
        """What there is to mind about a plan that was made since an input."""
        seq, told = self._told.get(furnace, (0, ()))
        return told if seq >= since_seq else ()

    async def _made(
        self, furnace: str, plan: MeltPlan, poured_earlier: tuple[str, ...]
    ) -> tuple[MeltPlan, tuple[Message, ...], Message]:
        try:
            made, minds = await self._plan_again(furnace, plan, poured_earlier)
        except Exception as err:  # a sheet or its disk is gone: better the old figures, and said, than none
            why = err.what if isinstance(err, PourcallError) else f"{type(err).__name__}: {err}"
            trace = not isinstance(err, PourcallError)  # that one is foreseen
            log.warning("%s: what is left was not planned again: %s", plan.melt, err, exc_info=trace)
            told = tell("daemon.order_not_counted", why=why)
            return as_left(plan, poured_earlier), (told,), told
        left = ", ".join(mould.name for mould in made.for_this_lift)
        return made, minds, tell("daemon.order_counted", moulds=left or "-")
