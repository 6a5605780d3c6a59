"""Amplifier chips. Junction and cold junction in degC -> one `Sample`, in the chip's own steps.

"max31855": takes the couple for linear, 41.276 uV/degC for type K (data sheet 19-5793, table of sensitivities), steps
of 0.25 degC and 0.0625 degC, one 32-bit word. "emf": a converter of 7.8125 uV steps (ADS1118 at +-0.256 V), its cold
junction in steps of 0.03125 degC. "its90": a linearising chip of 0.0078125 degC steps (MAX31856).
Thermocouple functions and sensitivities are those of `thermometry`; the same are inverted on the other side, so a test
of the chain against the simulator alone proves nothing about them: their own tests use the printed tables.
"""

from pourcall.contract.errors import BadInput
from pourcall.contract.frames import RawKind, Sample, SampleFlag
from pourcall.contract.message import tell
from pourcall.sim.boards.faults import Faults
from pourcall.thermometry.compensation import LINEAR_UV_PER_C
from pourcall.thermometry.thermocouple import emf_uv, temp_c_or_none, temp_range_c

EMF_STEP_UV = 7.8125
RAW_KIND = {"max31855": RawKind.LINEAR_C, "emf": RawKind.EMF_UV, "its90": RawKind.ITS90_C}  # what a chip sends
CHIPS = tuple(RAW_KIND)


class Amp:
    """One channel of an amplifier. `sample` is called once a conversion."""

    __slots__ = (
        "_cold_emf_uv",
        "_cold_for_c",
        "_frozen_cold_c",
        "_high_c",
        "_last",
        "_low_c",
        "_seq",
        "boot_ms",
        "channel",
        "chip",
        "cold_error_c",
        "couple",
        "faults",
        "offset_uv",
        "tc_type",
    )

    def __init__(
        self,
        chip: str,
        *,
        channel: str = "1",
        tc_type: str = "K",
        couple: str = "",
        faults: Faults | None = None,
        boot_ms: int = 0,
        offset_uv: float = 0.0,
        cold_error_c: float = 0.0,
    ) -> None:
        """`boot_ms`: the board's own counter at simulated time 0. Raises BadInput for no such chip or part.

        tc_type: what the chip is made or set for; couple: what is truly wired to it, where that is another type.
        """
        if chip not in CHIPS:
            raise BadInput(
                tell("sim.unknown", simulated="chip", typed=chip), remedy=tell("error.use_one", known=", ".join(CHIPS))
            )
        if chip == "max31855" and tc_type not in LINEAR_UV_PER_C:
            raise BadInput(
                tell("sim.no_max31855", tc_type=tc_type),
                remedy=tell("error.use_one", known=", ".join(LINEAR_UV_PER_C)),
            )
        self.chip, self.channel, self.tc_type, self.faults = chip, channel, tc_type, faults or Faults()
        self.couple = couple or tc_type
        self.boot_ms, self.offset_uv, self.cold_error_c = boot_ms, offset_uv, cold_error_c
        self._low_c, self._high_c = temp_range_c(self.couple)
        self._cold_for_c, self._cold_emf_uv = -1e9, 0.0
        self._seq, self._last, self._frozen_cold_c = 0, None, None  # type: int, Sample | None, float | None

    def sample(self, sense_c: float, cold_c: float, t_s: float) -> Sample:
        """One conversion: `sense_c` as the couple has it, `cold_c` the terminals' true temperature, simulated time."""
        flags = 0
        faults = self.faults
        if faults.sensor:
            sense_c, flags = faults.bend(sense_c, cold_c, t_s)
        if faults.amplifier:
            hot = faults.amplifier.get("cold_junction_hot")
            if hot is not None:
                cold_c = hot.size
        cold_emf_uv = self._cold_emf_uv
        if abs(cold_c - self._cold_for_c) > 0.002:
            self._cold_for_c = cold_c
            self._cold_emf_uv = cold_emf_uv = emf_uv(self.couple, cold_c)
        couple_uv = emf_uv(self.couple, min(max(sense_c, self._low_c), self._high_c)) - cold_emf_uv + self.offset_uv
        if faults.sensor and "reversed" in faults.sensor:
            couple_uv = -couple_uv
        told_cold_c = cold_c + self.cold_error_c
        self._seq = seq = (self._seq + 1) & 0xFFFFFFFF
        board_ms = (self.boot_ms + int(t_s * 1000.0)) & 0xFFFFFFFF
        value: float | None
        code: int | None = None
        if self.chip == "max31855":
            cold_steps = round(told_cold_c * 16.0)
            told_cold_c = cold_steps * 0.0625
            steps = round((couple_uv / LINEAR_UV_PER_C[self.tc_type] + told_cold_c) * 4.0)
            steps = min(max(steps, -0x2000), 0x1FFF)
            value = steps * 0.25
            if flags:
                code, value = 0x1FFF << 18 | (cold_steps & 0xFFF) << 4 | 1 << 16 | flags, None
            else:
                code = (steps & 0x3FFF) << 18 | (cold_steps & 0xFFF) << 4
            kind = RawKind.LINEAR_C
        elif self.chip == "emf":
            told_cold_c = round(told_cold_c * 32.0) * 0.03125
            value = None if flags else min(max(round(couple_uv / EMF_STEP_UV), -32768), 32767) * EMF_STEP_UV
            kind = RawKind.EMF_UV
        else:
            told_cold_c = round(told_cold_c * 64.0) * 0.015625
            if self.couple != self.tc_type or "reversed" in faults.sensor:
                sense_c = self._linearised_c(couple_uv, told_cold_c)
            value = None if flags else round(sense_c * 128.0) * 0.0078125
            kind = RawKind.ITS90_C
        if faults.amplifier:
            kept = self._amplifier_fault(told_cold_c)
            if kept is not None:
                value, cold_out_c, code, more = kept
                flags |= more
                return self._keep(Sample(self.channel, kind, value, cold_out_c, flags, code, seq, board_ms))
        self._last = made = Sample(self.channel, kind, value, told_cold_c, flags, code, seq, board_ms)
        return made

    def _linearised_c(self, couple_uv: float, cold_c: float) -> float:
        """What a linearising chip makes of a voltage; beyond its type's function it stays at the end of it."""
        found_c = temp_c_or_none(self.tc_type, couple_uv + emf_uv(self.tc_type, cold_c))
        low_c, high_c = temp_range_c(self.tc_type)
        return found_c if found_c is not None else high_c if couple_uv > 0.0 else low_c

    def _keep(self, made: Sample) -> Sample:
        if "frozen" not in self.faults.amplifier:
            self._last = made
        return made

    def _amplifier_fault(self, cold_c: float) -> tuple[float | None, float | None, int | None, int] | None:
        on = self.faults.amplifier
        if "dead_zero" in on:
            return 0.0, 0.0, 0 if self.chip == "max31855" else None, 0
        if "dead_ones" in on:
            if self.chip == "max31855":
                return None, None, 0xFFFFFFFF, int(SampleFlag.RESERVED_BITS)
            return (-7.8125 if self.chip == "emf" else -0.0078125), -0.03125, None, 0
        last = self._last
        if last is None:
            return None
        if "frozen" in on:
            return last.raw_value, last.cold_junction_c, last.raw_code, last.flags
        if "cold_junction_frozen" in on:
            self._frozen_cold_c = self._frozen_cold_c if self._frozen_cold_c is not None else last.cold_junction_c
            return last.raw_value, self._frozen_cold_c, last.raw_code, 0
        if "restarted" in on:
            del on["restarted"]
            return last.raw_value, last.cold_junction_c, last.raw_code, int(SampleFlag.RESTARTED)
        return None
