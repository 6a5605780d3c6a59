"""Moments of a melt as snapshots: what the daemon would send, made up for the tests of the screen.

The snapshots are ours: ZA-27 deck cleats in the boat club's workshop. Solidus 375 and liquidus 484 degC of ZA-27
after ASTM B86 / ASM Handbook volume 2 (from memory); the window and the loss are invented for the scenario.
"""

from typing import Any

import msgspec

from pourcall.contract.api import (
    Trace,
    TracePoint,
)
from pourcall.contract.events import (
    AlarmState,
    AlarmView,
    CallKind,
    CallView,
    Dip,
    DipHow,
    FigureSource,
    Marking,
    MeltState,
    Pour,
    Priority,
)
from pourcall.contract.inputs import PowerLevel
from pourcall.contract.message import Told, tell
from pourcall.contract.plan import AlloyFacts, MeltPlan, MouldPlan, PotLimit
from pourcall.contract.profile_plan import SegmentKind
from pourcall.contract.reading import Place, ProbeState
from pourcall.contract.snapshot import (
    AheadView,
    BoardState,
    BoardView,
    DipHint,
    DipView,
    FurnaceSnapshot,
    Instruction,
    Interval,
    MetalView,
    ProbeView,
    ProfileView,
    ToDo,
    WindowView,
)
from pourcall.contract.status import Reason, Status
from pourcall.contract.units import Unit

ALLOY = AlloyFacts(
    key="za27",
    name="ZA-27",
    family="zinc",
    solidus_c=375.0,
    liquidus_c=484.0,
    pour_min_c=510.0,
    pour_max_c=555.0,
    alloy_max_c=620.0,
    latent_kj_per_kg=128.0,
    cp_solid_j_per_kg_k=525.0,
    cp_liquid_j_per_kg_k=600.0,
    density_liquid_kg_per_m3=4600.0,
    zinc_bearing=True,
)
MOULDS = tuple(
    MouldPlan(
        name=name, setup="deck cleat", mass_kg=0.4, thinnest_mm=6.0, lip_min_c=515.0, lip_max_c=545.0, loss_c=14.0
    )
    for name in ("cleat 1", "cleat 2", "cleat 3")
)
PLAN = MeltPlan(
    melt="2026-014",
    alloy=ALLOY,
    charge_kg=1.8,
    moulds=MOULDS,
    limits=(PotLimit(limit_c=600.0, whose="alloy", why="alloy sheet"),),
)
WINDOW = WindowView(
    mould="cleat 1",
    index=0,
    of=3,
    lip_min_c=515.0,
    lip_max_c=545.0,
    tap_min_c=529.0,
    tap_max_c=559.0,
    loss_c=14.0,
    why="alloy sheet, narrowed by filling 6 mm in green sand",
    lip_now_c=474.0,
    too_cold=0.999,
    too_hot=0.0,
)


class Scenes:
    """Snapshots of the boat club's melt, by what happens in them."""

    @staticmethod
    def idle(**over: Any) -> FurnaceSnapshot:
        """No melt; the probe hangs in the air."""
        base = FurnaceSnapshot(
            furnace="forge",
            seq=1,
            mono_s=5000.0,
            utc_s=1_767_250_000.0,
            boards={"amp": BoardView(state=BoardState.UP)},
            metal=MetalView(temp_c=None, how="probe is out"),
            probes=(Scenes.probe(temp_c=21.4, state=ProbeState.OUT),),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def waiting(text: Told) -> Instruction:
        """Nothing is to be done."""
        return Instruction(todo=ToDo.WAIT, text=text)

    @staticmethod
    def called(call: CallView, **over: Any) -> Instruction:
        """The instruction that speaks for a call."""
        todo = {
            CallKind.CUT_POWER: ToDo.CUT,
            CallKind.WINDOW_CLOSING: ToDo.POUR_SOON,
            CallKind.POUR: ToDo.POUR,
            CallKind.DIP: ToDo.DIP,
            CallKind.SKIM: ToDo.SKIM,
            CallKind.STEP: ToDo.STEP,
            CallKind.CHECK_POWER: ToDo.CHECK,
        }[call.kind]
        base = Instruction(todo=todo, text=call.text, why=call.why, must=True, call=call.kind, mould=call.mould)
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def probe(**over: Any) -> ProbeView:
        """The probe of the melt, well."""
        base = ProbeView(
            name="melt_probe",
            place=Place.MELT,
            state=ProbeState.IN_METAL,
            temp_c=488.2,
            u_c=3.6,
            status=Status.GOOD,
            reason=Reason.OK,
            rate_c_per_min=6.2,
            age_s=0.4,
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def heating(**over: Any) -> FurnaceSnapshot:
        """Liquid, below the window, coming up."""
        base = FurnaceSnapshot(
            furnace="forge",
            seq=100,
            mono_s=7040.0,
            utc_s=1_767_252_040.0,
            melt="2026-014",
            melt_began_mono_s=5000.0,
            plan=PLAN,
            moulds_left=tuple(mould.name for mould in MOULDS),
            melt_state=MeltState.LIQUID,
            power=PowerLevel.HIGH,
            probes=(Scenes.probe(), Scenes.chamber()),
            metal=MetalView(
                temp_c=488.2,
                u_c=3.6,
                reason=Reason.OK,
                probe="melt_probe",
                source=FigureSource.PROBE,
                how="probe in the metal",
                rate_c_per_min=6.2,
                age_s=0.4,
            ),
            window=WINDOW,
            instruction=Scenes.waiting(tell("instruction.liquid", to_go_difference_c=40.8)),
            boards={"amp": BoardView(state=BoardState.UP)},
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def chamber(**over: Any) -> ProbeView:
        """A second probe in the furnace's chamber."""
        base = ProbeView(
            name="chamber",
            place=Place.CHAMBER,
            state=ProbeState.OUT,
            temp_c=702.0,
            u_c=6.0,
            status=Status.GOOD,
            reason=Reason.OK,
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def ready(**over: Any) -> FurnaceSnapshot:
        """Inside the window, and called."""
        call = CallView(
            kind=CallKind.POUR,
            text="POUR now: cleat 1 of 3, arrives at 529 °C",
            raised_mono_s=7400.0,
            repeat_s=10.0,
            why="the whole band of uncertainty lies inside the window",
            mould="cleat 1",
        )
        window = msgspec.structs.replace(WINDOW, lip_now_c=529.0, too_cold=0.004, too_hot=0.002)
        base = Scenes.heating(
            seq=200,
            mono_s=7410.0,
            melt_state=MeltState.READY,
            instruction=Scenes.called(call),
            calls=(call,),
            window=window,
            power=PowerLevel.OFF,
            applied_permille=0,
            metal=MetalView(
                temp_c=543.1,
                u_c=3.8,
                reason=Reason.OK,
                probe="melt_probe",
                source=FigureSource.PROBE,
                how="probe in the metal",
                rate_c_per_min=1.2,
                age_s=0.4,
            ),
            probes=(Scenes.probe(temp_c=543.1, rate_c_per_min=1.2),),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def lifted(**over: Any) -> FurnaceSnapshot:
        """The pot is out; one cleat is poured."""
        pour = Pour(
            number=1,
            mould="cleat 1",
            setup="deck cleat",
            at_mono_s=7425.0,
            at_utc_s=1_767_252_425.0,
            marked=Marking.LIVE,
            pot_temp_c=543.0,
            pot_u_c=4.0,
            lip_temp_c=528.0,
            lip_u_c=7.0,
            lip_min_c=515.0,
            lip_max_c=545.0,
            basis="last probe figure before the lift, less the loss",
        )
        base = Scenes.ready(
            seq=230,
            mono_s=7432.0,
            lift_mono_s=7418.0,
            countdown_s=65.0,
            pours=(pour,),
            moulds_left=tuple(mould.name for mould in MOULDS[1:]),
            calls=(),
            instruction=Instruction(
                todo=ToDo.MARK_POUR,
                text=tell("instruction.mark_pour", mould="cleat 2", number=2, of=3),
                must=True,
                mould="cleat 2",
            ),
            probes=(
                Scenes.probe(temp_c=310.0, state=ProbeState.OUT, status=Status.UNCERTAIN, reason=Reason.OUT_OF_METAL),
            ),
            metal=MetalView(temp_c=None, how="probe is out since the lift"),
            window=msgspec.structs.replace(
                WINDOW, mould="cleat 2", index=1, lip_now_c=525.0, too_cold=0.04, too_hot=0.0
            ),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def broken(**over: Any) -> FurnaceSnapshot:
        """The thermocouple is open; the store is full; an older warning was seen."""
        base = Scenes.heating(
            probes=(
                Scenes.probe(temp_c=None, u_c=None, rate_c_per_min=None, status=Status.BAD, reason=Reason.SENSOR_OPEN),
            ),
            metal=MetalView(temp_c=None, how="thermocouple open"),
            melt_state=MeltState.UNKNOWN,
            instruction=Instruction(todo=ToDo.CHECK, text="Look at the probe: no figure until it is mended", must=True),
            store_problem="store_full",
            flags={"no_metal_reading": 1},
            alarms=(
                Scenes.alarm(),
                Scenes.alarm(
                    id="store_full:store",
                    kind="store_full",
                    priority=Priority.WARNING,
                    state=AlarmState.ACKED,
                    what="The disk is full: nothing more is recorded",
                    remedy="Free some space; recording goes on by itself",
                    raised_mono_s=6900.0,
                ),
            ),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def alarm(**over: Any) -> AlarmView:
        """An open thermocouple that nobody has seen yet."""
        base = AlarmView(
            id="sensor_open:melt_probe",
            kind="sensor_open",
            subject="melt_probe",
            priority=Priority.ALARM,
            state=AlarmState.UNACKED,
            active=True,
            what="The thermocouple melt_probe is open: there is no temperature",
            remedy="Switch the power off, then look at plug and tip",
            raised_mono_s=7030.0,
            raised_utc_s=1_767_252_030.0,
            recorded="recorded",
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def dip(**over: Any) -> Dip:
        """The last dip."""
        base = Dip(
            probe="melt_probe",
            number=3,
            began_mono_s=6975.0,
            ended_mono_s=7000.0,
            ended_utc_s=1_767_252_000.0,
            temp_c=486.9,
            u_c=4.2,
            how=DipHow.SETTLED,
            fit_error_c=0.4,
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def ahead(**over: Any) -> AheadView:
        """The forecast of the heating melt: in the window in 12 min, the power to be cut in 8."""
        band = tuple((60.0 * n, 488.0 + 3.4 * n - 2.0 - 0.5 * n, 488.0 + 3.4 * n + 2.0 + 0.5 * n) for n in range(1, 41))
        base = AheadView(
            at_mono_s=7040.0,
            ready_s=Interval(720.0, 610.0, 880.0),
            coast_c=Interval(503.0, 498.0, 509.0),
            coast_in_s=240.0,
            cut_in_s=480.0,
            aim_c=544.0,
            cooling_s=Interval(None),
            model_c=Interval(488.0, 484.0, 492.0),
            band=band,
            model_version=3,
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def profile(**over: Any) -> ProfileView:
        """A guided profile on its second ramp; the club's panel shows Fahrenheit."""
        base = ProfileView(
            name="za27_standard",
            segment=2,
            of=3,
            kind=SegmentKind.RAMP,
            to_c=544.0,
            setpoint_c=512.0,
            rate_c_per_min=6.0,
            dial=977.0,
            dial_unit=Unit.F,
            advice="Dial 977 degF on the panel: metal to <544.0 degC>",
            segments=(
                tell("profile.segment.full_power", to_c=480.0),
                tell("profile.segment.ramp", to_c=544.0, rate_c_per_min=6.0),
                tell("profile.segment.hold_until_told", to_c=544.0),
            ),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def holding(**over: Any) -> ProfileView:
        """The same, in a hold that waits to be told."""
        base = Scenes.profile(
            segment=3,
            kind="hold",
            setpoint_c=544.0,
            rate_c_per_min=None,
            waits=True,
            advice="Holding at <544.0 degC>: say when to go on",
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def dip_now(**over: Any) -> DipView:
        """A dip that goes on: six seconds to hold still yet."""
        base = DipView(
            probe="melt_probe",
            began_mono_s=7034.0,
            hold_s=5.6,
            hint=DipHint.HOLD,
            text=tell("dip.hint.hold"),
            temp_c=531.2,
            fit_error_c=1.2,
            good=True,
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def guided(**over: Any) -> FurnaceSnapshot:
        """Heating, foreseen, guided, with three dips behind it and an arrest seen."""
        base = Scenes.heating(
            ahead=Scenes.ahead(),
            profile=Scenes.profile(),
            last_dip=Scenes.dip(depth_mm=40.0, stirred=True),
            dips=(Scenes.dip(number=1), Scenes.dip(number=2), Scenes.dip()),
            dip_spread_c=1.6,
            arrest="Liquidus seen at <482.0 degC>: the probe reads <2.0 degC apart> low, or the alloy is not ZA-27",
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def dipping(**over: Any) -> FurnaceSnapshot:
        """A dip goes on while the profile waits, and nothing else tells the metal."""
        base = Scenes.guided(
            probes=(Scenes.probe(place=Place.DIP, state=ProbeState.SETTLING, temp_c=519.0), Scenes.chamber()),
            metal=MetalView(temp_c=None, how="dip 4 goes on"),
            dip_now=Scenes.dip_now(),
            profile=Scenes.holding(),
            melt_state=MeltState.LIQUID,
            instruction=Scenes.waiting(tell("instruction.liquid", to_go_difference_c=12.0)),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def chamber_only(**over: Any) -> FurnaceSnapshot:
        """A probe in the chamber and no other: the metal is estimated, never measured."""
        base = Scenes.guided(
            probes=(Scenes.chamber(),),
            metal=MetalView(temp_c=None, how="no probe in the metal"),
            melt_state=MeltState.UNKNOWN,
            last_dip=None,
            dips=(),
            dip_spread_c=None,
            profile=None,
            arrest="",
            ahead=Scenes.ahead(model_c=Interval(505.0, 490.0, 520.0)),
            instruction=Scenes.waiting("Dip to know what the metal is at"),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def coasting(**over: Any) -> FurnaceSnapshot:
        """Called, with the power off: the metal coasts up a little and then the window closes from below."""
        band = tuple((60.0 * n, 545.0 - 1.6 * n - 3.0, 547.0 - 1.2 * n + 3.0) for n in range(1, 41))
        base = Scenes.ready(
            profile=Scenes.holding(),
            last_dip=Scenes.dip(ended_mono_s=7380.0, temp_c=542.0),
            ahead=Scenes.ahead(
                at_mono_s=7408.0,
                ready_s=None,
                why="the power is off",
                power_off=True,
                cut_in_s=None,
                coast_c=Interval(547.0, 544.0, 550.0),
                coast_in_s=95.0,
                cooling_s=Interval(600.0, 470.0, 745.0),
                band=band,
            ),
        )
        return msgspec.structs.replace(base, **over)

    @staticmethod
    def trace(snapshot: FurnaceSnapshot) -> Trace:
        """A melt's trace up to the snapshot: up, the arrest at the solidus, up again; a gap of two minutes."""
        points = []
        for n in range(0, 2040, 5):
            at_s = snapshot.mono_s - 2040.0 + n
            temp_c = min(20.0 + n * 0.6, 375.0) if n < 1100 else 375.0 + (n - 1100) * 0.12
            gone = 1500 <= n < 1620
            points.append(TracePoint(at_s, None if gone else temp_c, None if gone else temp_c + 0.5))
        return Trace(furnace=snapshot.furnace, began_mono_s=5000.0, probes={"melt_probe": tuple(points)})
