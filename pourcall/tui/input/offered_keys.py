"""The keys that mean something now, for the foot of the screen."""

from pourcall.contract.message import tell
from pourcall.contract.snapshot import FurnaceSnapshot
from pourcall.tui.input.key_controller import done_call
from pourcall.tui.screen.profile_panel import profile_runs
from pourcall.tui.screen.scene import Key
from pourcall.tui.screen.words import sorted_alarms

SILENCE = Key("s", tell("key.silence"), 1)
HELP = Key("?", tell("key.help"))
QUIT = Key("q", tell("key.quit"), 6)


def keys_for(snapshot: FurnaceSnapshot | None, others: int) -> tuple[Key, ...]:
    """The keys that mean something now, always in the same order. What is not listed still works: see the help."""
    if snapshot is None:
        return (SILENCE, HELP, QUIT)
    alarms = (Key("a", tell("key.acknowledge"), 1), SILENCE) if sorted_alarms(snapshot.alarms) else ()
    furnace = (Key("f", tell("key.furnace"), 3),) if others else ()
    last = (Key("u", tell("key.unit"), 5), *furnace, HELP, QUIT)
    power = tell("key.power")
    if not snapshot.melt:
        return (Key("m", tell("key.start_melt")), *alarms, Key("p", power, 4), *last)
    profile = snapshot.profile
    waits = profile is not None and profile.waits
    return (
        Key("space", tell("key.pour"), 1),
        Key("l", tell("key.lift"), 2) if snapshot.lift_mono_s is None else Key("b", tell("key.back_in"), 2),
        Key("d", tell("key.dip"), 2 if profile_runs(profile) else 3),
        Key("g", tell("key.go_on" if waits else "key.profile"), 0 if waits else 3),
        *((Key("n", tell("key.not_now"), 1),) if snapshot.calls else ()),
        *((Key("enter", tell("key.done"), 1),) if done_call(snapshot) is not None else ()),
        *alarms,
        Key("p", power, 2),
        Key("m", tell("key.end_melt"), 4),
        *last,
    )
