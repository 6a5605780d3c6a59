"""The simulated operator. Works a script on the true plant, moves the probe, and presses keys (or does not).

Which keys are pressed is a habit of the person (`keys`): someone who presses nothing is an ordinary case too.
"""

from collections import deque
from collections.abc import Sequence
from random import Random

import msgspec

from pourcall.contract.inputs import (
    Answer,
    AnswerCall,
    Command,
    EndMelt,
    MarkAddition,
    MarkLift,
    MarkPour,
    MarkPower,
    MarkSkim,
    MeltEnding,
    Note,
    PowerLevel,
    StartDip,
    StartMelt,
)
from pourcall.contract.plan import MeltPlan
from pourcall.sim.boards.faults import Faults
from pourcall.sim.plant.interface import SimPlant, SimProbe
from pourcall.sim.scenarios.script import Condition, Step, parse_condition

ALL_KEYS = frozenset({"start", "power", "addition", "skim", "dip", "lift", "pour", "end"})
UNHURRIED = 0.08  # share of the moments in which nobody comes in time
LOOK_EVERY_S = 5.0  # how often a person thinks again whether to cut the power
_CONDITIONS: dict[str, Condition] = {}


class Crew:
    """One person at the furnace. `act()` once a plant step gives the keys pressed in it."""

    def __init__(
        self,
        steps: Sequence[Step],
        plant: SimPlant,
        probe: SimProbe,
        *,
        plans: Sequence[MeltPlan] = (),
        keys: frozenset[str] = ALL_KEYS,
        faults: Faults | None = None,
        who: str = "shop",
        mark_delay_s: float = 4.0,
        hand_s: tuple[float, float] = (0.0, 0.0),
        forgets: float = 0.0,
        rng: Random | None = None,
    ) -> None:
        """`hand_s`: from seeing that the power must change to the hand on the knob; now and then twice as long and
        more. `forgets`: chance that a key is not pressed; the melt is always started and ended."""
        self._queue: deque[Step] = deque(steps)
        self.plant, self.probe, self.plans, self.keys, self.who = plant, probe, tuple(plans), keys, who
        self.faults = faults or Faults()
        self.power_level = "off"
        self.phase, self.melt, self.done, self.gave_up = "start", "", False, False
        self.unmarked = 0  # marks forgotten so far
        self._since_s, self._mark_delay_s = 0.0, mark_delay_s
        self._coast_s, self._coast_c = -1e9, 0.0
        self._dipped_s, self._looked_s, self._power_s = -1e9, -1e9, -1e9
        self._hand_s, self._forgets, self._rng = hand_s, forgets, rng or Random(0)
        self._foresees = self._rng.uniform(0.2, 1.0)  # how much of his own delay a person reckons with
        self._meant: tuple[float, str] | None = None  # when the hand is on the knob, and where it turns it
        self._looked_c: tuple[float, float] | None = None  # the metal as it was last looked at
        self._calls: dict[str, float] = {}
        self._later: list[tuple[float, str, float, str]] = []  # (when, kind, happened, mould): marks made afterwards
        self._pressed: list[Command] = []
        self._condition: Condition | None = None

    # ---- what conditions may ask --------------------------------------------------------------------------------

    def value(self, name: str) -> float:
        """One of script.NAMES now."""
        plant = self.plant
        if name == "after":
            return plant.t_s - self._since_s
        if name == "coast":
            if plant.t_s - self._coast_s >= LOOK_EVERY_S:
                self._coast_s = plant.t_s
                self._coast_c = plant.coast_peak_c() if plant.liquid_fraction > 0.05 else plant.metal_c
            return self._coast_c
        match name:
            case "metal":
                return plant.metal_c
            case "liquid":
                return plant.liquid_fraction
            case "t":
                return plant.t_s
            case "pot":
                return plant.pot_c
            case "wall":
                return plant.wall_c
            case "mass":
                return plant.mass_kg
            case "lump":
                return plant.lump_kg
            case _:
                return self.probe.junction_c

    def heard(self, call: str) -> bool:
        """Was this call told since the step before."""
        return self._calls.get(call, -1e9) >= self._since_s

    def hear(self, call: str) -> None:
        """The shop's loudspeaker said a call (its kind)."""
        self._calls[call] = self.plant.t_s

    # ---- work ---------------------------------------------------------------------------------------------------

    def act(self) -> list[Command]:
        """What the person does in this moment; the keys pressed, oldest first. Empty list: none."""
        if self.done and not self._later:
            return []
        if self._meant is not None and self._meant[0] <= self.plant.t_s:
            level, self._meant = self._meant[1], None
            self.set_power(level)
        if self._later and self._later[0][0] <= self.plant.t_s:
            self._mark(self._later.pop(0))
        while self._queue and not self.done:
            step = self._queue[0]
            if self._condition is None:
                found = _CONDITIONS.get(step.when)
                if found is None:
                    found = _CONDITIONS[step.when] = parse_condition(step.when)
                self._condition = found
            if not self._condition(self):
                if self.plant.t_s - self._since_s > step.within_s:
                    self._give_up()
                break
            self._queue.popleft()
            if not self._do(step):
                self._queue.appendleft(step)
                break
            self._condition, self._since_s = None, self.plant.t_s
        if not self._queue:
            self.done = True
        if not self._pressed:
            return self._pressed
        pressed, self._pressed = self._pressed, []
        return pressed

    def _press(self, key: str, command: Command) -> None:
        if key not in self.keys:
            return
        if self._forgets > 0.0 and key not in ("start", "end") and self._rng.random() < self._forgets:
            self.unmarked += 1
            return
        self._pressed.append(command)

    def _do(self, step: Step) -> bool:
        """Act on a step; False: not finished, ask again."""
        plant = self.plant
        match step.do:
            case "charge":
                plant.add(step.kg, step.temp_c)
                self.phase = "charging"
                if plant.lump_kg > 0.0:
                    self._press("addition", MarkAddition(mass_kg=round(step.kg, 3), who=self.who))
            case "power":
                self.set_power(step.level)
            case "lid":
                plant.set_lid(step.open)
            case "probe":
                self.probe.move(step.place, step.depth_mm)
            case "dip":
                self._dip(step)
            case "stir":
                plant.stir()
            case "skim":
                self.phase = "skimming"
                plant.skim(step.kg)
                self._press("skim", MarkSkim(who=self.who))
            case "lift":
                self.phase = "lifted"
                plant.lift()
                self._note_later("lift", "")
            case "put_back":
                plant.put_back()
                self.phase = "empty"
            case "pour":
                if step.kg <= 0.0 or plant.mass_kg <= 0.0:
                    return True
                if not plant.pouring and self.phase != f"pour {step.mould}":
                    self.phase = f"pour {step.mould}"
                    plant.pour(step.kg, step.rate_kg_per_s)
                    if step.mould:
                        self._note_later("pour", step.mould)
                    return False
                return not plant.pouring
            case "start":
                self.phase = "solid"
                if self.plans:
                    self.melt = self.plans[step.plan].melt
                    self._press("start", StartMelt(plan=self.plans[step.plan], who=self.who))
            case "end":
                self.phase = "ended"
                while self._later:
                    self._mark(self._later.pop(0))
                self._press("end", EndMelt(ending=MeltEnding(step.ending), who=self.who))
            case "fault":
                self.faults.set(step.word, at_s=plant.t_s, size=step.size)
                self.apply_power()
            case "key":
                self._pressed.append(AnswerCall(call=step.text, answer=Answer.DONE, who=self.who))
            case "say":
                self._pressed.append(Note(text=step.text, who=self.who))
            case "watch":
                return self._watch(step)
            case "bring":
                return self._bring(step)
            case _:
                pass
        return True

    def _turn(self, level: str) -> None:
        """The power must change: at once, or when the hand gets to the knob."""
        if self._hand_s[1] <= 0.0:
            self.set_power(level)
        elif self._meant is None and level != self.power_level:
            late_s = self._rng.uniform(*self._hand_s)
            if self._rng.random() < UNHURRIED:
                late_s += self._rng.uniform(self._hand_s[1], 2.0 * self._hand_s[1])
            self._meant = (self.plant.t_s + late_s, level)

    def _rises_meanwhile_c(self) -> float:
        """What a person who knows his own pace takes off: the rise until his hand is on the knob, as it rises now."""
        was, self._looked_c = self._looked_c, (self.plant.t_s, self.plant.metal_c)
        if self._hand_s[1] <= 0.0 or was is None or not 0.0 < self.plant.t_s - was[0] < 30.0:
            return 0.0
        rate = (self.plant.metal_c - was[1]) / (self.plant.t_s - was[0])
        return min(30.0, max(0.0, rate) * self._foresees * 0.5 * sum(self._hand_s))

    def set_power(self, level: str, *, told: bool = True) -> None:
        """Turn the knob or the burner; `told`: and press the key for it."""
        changed = level != self.power_level
        if changed:
            self._power_s = self.plant.t_s
        self.power_level = level
        self.apply_power()
        if changed and told:
            self._press("power", MarkPower(level=PowerLevel(level), who=self.who))

    def apply_power(self) -> None:
        """The knob as it stands, obeyed as the furnace's faults allow."""
        share = {"off": 0.0, "low": self.plant.furnace.low_share, "high": 1.0}[self.power_level]
        self.faults.apply_to_plant(self.plant, share)

    def _insert(self, *steps: Step) -> None:
        self._queue.extendleft(reversed(steps))

    def _dip(self, step: Step) -> None:
        """Power off, lid off, probe in, hold, probe out, lid on, power as it was."""
        self._dipped_s = self.plant.t_s
        if self._meant is not None:  # he is there now
            self.set_power(self._meant[1])
            self._meant = None
        back = self.power_level
        self._press("dip", StartDip(probe="metal", depth_mm=step.depth_mm, stirred=True, who=self.who))
        self._insert(
            Step("power", level="off"),
            Step("lid", when="after 2", open=True),
            Step("stir", when="after 1"),
            Step("probe", when="after 2", place="melt", depth_mm=step.depth_mm),
            Step("probe", when=f"after {step.for_s:g}", place="air"),
            Step("lid", when="after 2", open=False),
            Step("power", when="after 1", level=back),
        )

    def _watch(self, step: Step) -> bool:
        """Wait for `until`, dipping every so often once there is liquid to dip into."""
        if parse_condition(step.until)(self):
            return True
        if step.every_s and self.plant.liquid_fraction > 0.5 and self.plant.t_s - self._dipped_s > step.every_s:
            self._again(step)
            return True
        return False

    def _again(self, step: Step) -> None:
        """Do a dip first, then come back to this step."""
        self._insert(Step("dip", for_s=step.for_s, depth_mm=step.depth_mm), msgspec.structs.replace(step, when=""))

    def _bring(self, step: Step) -> bool:
        """Bring the metal into the window and no further: power on while it would coast short of the target."""
        plant = self.plant
        metal_c = plant.metal_c
        if step.lo_c <= metal_c <= step.hi_c and plant.lump_kg == 0.0 and plant.liquid_fraction >= 1.0:
            self._meant = None
            self.set_power("off")
            return True
        self.phase = "bring"
        if plant.t_s - self._since_s > step.within_s:
            self._give_up()
            return True
        if plant.t_s - self._looked_s < LOOK_EVERY_S:
            return False
        self._looked_s = plant.t_s
        if step.every_s and plant.liquid_fraction > 0.5 and plant.t_s - self._dipped_s > step.every_s:
            self._again(step)
            return True
        if metal_c > step.hi_c:
            self._turn("off")
        elif plant.liquid_fraction > 0.05:
            early_c = self._rises_meanwhile_c()
            coast_c = self.value("coast") + (early_c if self.power_level != "off" else 0.0)
            if coast_c >= step.target_c:
                self._turn("off")
            elif coast_c < step.lo_c + 0.3 * (step.target_c - step.lo_c):
                enough_c = step.lo_c if self.power_level == "high" else step.lo_c - 8.0
                gently = plant.furnace.fuel and coast_c >= enough_c and plant.t_s - self._power_s < 60.0
                self._turn("low" if gently else "high")
        else:
            self._turn("high")
        return False

    def _give_up(self) -> None:
        """The melt does not come: everything off, as a person would."""
        self.gave_up, self._meant = True, None
        self._queue.clear()
        self.set_power("off")
        self._queue.append(Step("end", ending="abandoned"))
        self._condition, self._since_s = None, self.plant.t_s

    def _note_later(self, kind: str, mould: str) -> None:
        if kind in self.keys:
            self._later.append((self.plant.t_s + self._mark_delay_s, kind, self.plant.t_s, mould))

    def _mark(self, note: tuple[float, str, float, str]) -> None:
        _, kind, happened_s, mould = note
        ago_s = round(self.plant.t_s - happened_s, 1)
        if kind == "lift":
            self._press("lift", MarkLift(ago_s=ago_s, who=self.who))
        else:
            self._press("pour", MarkPour(ago_s=ago_s, mould=mould, who=self.who))
