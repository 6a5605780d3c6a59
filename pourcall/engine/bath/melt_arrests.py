"""The arrests of the running melt, all its probes, at work in the engine.

One `ArrestAnalysis` for each probe that stays in the metal: a dip is too short to see an arrest, a chamber probe sees
none. In: every reading, a tick a second. Out: arrests for the record, the alarm of a wrong alloy, a probe that is not
believed because it reads like another type, a word against a pour and a state that the figures alone would have.
"""

import math
from collections.abc import Callable

from pourcall.contract import events as ev
from pourcall.contract.config import EngineConfig
from pourcall.contract.inputs import StartMelt
from pourcall.contract.message import NOTHING as SILENT
from pourcall.contract.message import Message
from pourcall.contract.plan import AlloyFacts, AlloyHalts, MeltPlan
from pourcall.contract.reading import Place, ProbeState, Reading
from pourcall.engine.alarms.manager import AlarmManager
from pourcall.engine.bath.metal import MetalNow
from pourcall.engine.melt.melt_state import Band, band_with_arrest
from pourcall.engine.sensing.measurement import USABLE, ProbeChannel
from pourcall.engine.sensing.trust import Cause
from pourcall.thermal_analysis.arrest_analysis import NOTHING, ArrestAnalysis, Findings

_IN = (ProbeState.IN_METAL, ProbeState.FROZEN_IN)
ALARM = "wrong_alloy"


class MeltArrests:
    """Arrests of one furnace; between melts it does nothing. `say` takes the type of an event and its fields."""

    def __init__(self, config: EngineConfig, alarms: AlarmManager, say: Callable[..., None]) -> None:
        self._config, self._alarms, self._say = config, alarms, say
        self._sample_s = {board.name: board.sample_s for board in config.boards}
        self._alloy: AlloyFacts | None = None
        self._others: tuple[AlloyHalts, ...] = ()
        self._analyses: dict[str, ArrestAnalysis] = {}
        self._suspected: set[str] = set()  # probes of another type than is set; a person is asked once a melt
        self.findings: Findings = NOTHING
        self.probe = ""  # whose findings they are
        self.melted = False  # a probe has seen its melting end; a reading above the liquidus says less (between lumps)
        self.solid_s = -math.inf  # last time it was solid for certain

    # -- begin and end ------------------------------------------------------------------------------------------------

    def start(self, command: StartMelt) -> None:
        """A melt began."""
        self._others = command.others
        self._begin(command.plan.alloy)

    def change(self, old: MeltPlan, new: MeltPlan) -> None:
        """The plan changed; another alloy is watched for anew."""
        if new.alloy != old.alloy:
            self._begin(new.alloy)

    def end(self) -> None:
        """The melt is over."""
        self._begin(None)

    def _begin(self, alloy: AlloyFacts | None) -> None:
        self._alloy = alloy
        self._analyses.clear()
        self._suspected.clear()
        self.melted, self.solid_s = False, -math.inf
        self.findings, self.probe = NOTHING, ""

    # -- while it runs ------------------------------------------------------------------------------------------------

    def take(self, channel: ProbeChannel, reading: Reading) -> None:
        """Every reading; only those of a probe that is in the metal count."""
        if self._alloy is None:
            return
        tracker = channel.tracker
        analysis = self._analyses.get(reading.probe)
        if tracker.place is not Place.MELT or tracker.state not in _IN or not channel.trusted:
            if analysis is not None:
                analysis.lost()
        elif reading.temp_c is not None and reading.reason in USABLE:
            if analysis is None:
                sample_s = self._sample_s.get(channel.config.board, 1.0)
                tau_s, tc_type = tracker.rule.tau_metal_s, channel.config.tc_type
                analysis = ArrestAnalysis(self._alloy, tau_s, sample_s, others=self._others, tc_type=tc_type)
                self._analyses[reading.probe] = analysis
            if reading.cold_junction_c is not None:
                analysis.couple.ends_at(reading.cold_junction_c)
            analysis.take(reading.at_mono_s, reading.temp_c)

    def disturbed(self, mono_s: float) -> None:
        """Metal added, skimmed, the power changed: what begins now has its own reason."""
        for analysis in self._analyses.values():
            analysis.disturbed(mono_s)

    def tick(self, channels: tuple[ProbeChannel, ...], mono_s: float, utc_s: float) -> None:
        """Once a second: renews `findings`, records what ended, warns of a wrong alloy."""
        best, whose = NOTHING, ""
        for channel in channels:
            analysis = self._analyses.get(channel.config.name)
            if analysis is None:
                continue
            found = analysis.tick(mono_s, channel.u_c)
            if analysis.melting.is_solid:
                self.melted, self.solid_s = False, mono_s
            if found.liquid:
                channel.tracker.seen_to_melt()
                self.melted = True
            for seen in found.seen:
                mark = {"at_mono_s": seen.at_mono_s, "value": seen.temp_c}
                self._say(ev.Marked, what=ev.MarkKind.ARREST, text=seen.text, **mark)
            if found.wrong_couple and channel.config.name not in self._suspected:
                self._suspected.add(channel.config.name)
                channel.trust.lied(mono_s, Cause.TYPE, found.wrong_couple)
            if not whose or _weight(found) > _weight(best):
                best, whose = found, channel.config.name
        self.findings, self.probe = best, whose
        if self._alloy is not None:
            asked = any(channel.trust.alarm is Cause.TYPE for channel in channels)  # that word names the alloy too
            wrong = SILENT if asked else best.wrong_alloy
            self._alarms.set_condition(ALARM, self._config.furnace, bool(wrong), mono_s, utc_s, detail=wrong)

    def missed(self, probe: str) -> bool:
        """This probe followed it from solid metal, and no probe has seen its melting end."""
        analysis = self._analyses.get(probe)
        return not self.melted and analysis is not None and analysis.melting.from_below

    def band(self, band: Band, metal: MetalNow) -> tuple[Band, Message]:
        """The band as the arrests have it, and why where that differs."""
        return band_with_arrest(band, self.findings, same_probe=metal.live and metal.probe == self.probe)


def _weight(found: Findings) -> int:
    """A halt that goes on tells most, then a wrong alloy, then any word at all."""
    return 8 * bool(found.held_back) + 4 * bool(found.wrong_alloy) + 2 * bool(found.liquid) + bool(found.text)
